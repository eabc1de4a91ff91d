"""The noun `Animal`: proportions and relief of an invented trunk, and the three we sculpted.

The tables are our own sculpting, oriented by general anatomy; they describe no living animal.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

REFERENCE_HEIGHT = 1.45
"""m: withers height at which the tables below hold; everything scales with height from there."""

STATIONS = np.concatenate(
    [[0.52, 0.45, 0.35, 0.27], np.linspace(0.20, -0.80, 11), [-0.88, -0.95, -1.02]]
)
"""m, at the reference height: neck base, withers (0.10), rear edge of the blade (0), ..., croup."""

WITHERS = 0.10
"""m, at the reference height: station of the highest spinous process."""

DEPTHS = np.array([0.05, 0.10, 0.15, 0.20, 0.30])
"""m below the crest, at the reference height, where a section's half-widths are given."""


@dataclass(frozen=True)
class Animal:
    """Proportions of one invented trunk; lengths at `REFERENCE_HEIGHT` unless said otherwise.

    Attributes
    ----------
    name : a plain word.
    withers_height : m, of this animal; scales everything.
    crest : (18,) array, m, height of the spine line at `STATIONS`, 0 at x = 0.
    half_width : (18, 5) array, m, of the section at `DEPTHS` below the crest.
    widest : (18, 2) array, m: greatest half-width and its depth.
    depth : (18,) array, m, crest to the lower line of the trunk.
    blade : m, how far the shoulder blade stands out.
    fat_pocket : m, bulge of the fat pocket behind the blade.
    muscle : m, roll of the long muscle beside the spine.
    spine_ridge : m, spinous processes standing proud of the muscle; below 0 a groove.
    hollow : m, how far the muscle has sunk beside the withers.
    ribs : m, amplitude of the ribs' waviness.
    bone : 0..1, how much hip points and flank hollow show.
    asymmetry : m, how much fuller the left side is over the long muscle, at its fullest.
    hide : colouring, a key of `meshes.hide.HIDES`.
    """

    name: str
    withers_height: float
    crest: NDArray[np.float64]
    half_width: NDArray[np.float64]
    widest: NDArray[np.float64]
    depth: NDArray[np.float64]
    blade: float
    fat_pocket: float
    muscle: float
    spine_ridge: float
    hollow: float
    ribs: float
    bone: float
    asymmetry: float
    hide: str

    @property
    def scale(self) -> float:
        """Factor from the tables to this animal."""
        return self.withers_height / REFERENCE_HEIGHT


def _table(rows: str) -> dict[str, NDArray[np.float64]]:
    """Columns, mm: crest, half-widths at the five depths, greatest half-width, its depth, depth."""
    mm = np.array([line.split() for line in rows.strip().splitlines()], dtype=float) / 1000
    return {"crest": mm[:, 0], "half_width": mm[:, 1:6], "widest": mm[:, 6:8], "depth": mm[:, 8]}


MULE = Animal(
    name="mule",
    withers_height=1.45,
    **_table("""
        200   34  52  68  82 106   165 500  700
        136   40  62  80  96 126   188 500  705
         68   52  80 106 130 168   216 475  700
         38   66 104 136 163 201   234 450  685
         30   80 122 155 182 215   239 430  660
         34   94 141 176 203 229   241 410  632
          0  101 150 186 211 236   244 390  617
        -25  116 166 201 224 247   253 385  610
        -37  131 182 216 236 258   263 380  606
        -43  144 195 227 246 267   271 370  600
        -43  154 205 235 252 270   274 355  586
        -36  163 213 240 254 267   269 330  562
        -22  172 221 244 255 262   263 310  538
         -9  170 222 248 261 269   270 320  528
        -10  156 211 242 260 274   277 340  545
        -36  132 190 227 250 272   277 360  560
        -74  102 163 206 234 264   272 380  575
       -130   72 130 178 210 248   262 390  580
    """),
    blade=0.011,
    fat_pocket=0.006,
    muscle=0.005,
    spine_ridge=0.004,
    hollow=0.004,
    ribs=0.0007,
    bone=0.9,
    asymmetry=0.003,
    hide="brown",
)
"""Narrow withers widening to a broad loin, level topline, fairly lean."""

BROAD_PONY = Animal(
    name="broad_pony",
    withers_height=1.30,
    **_table("""
        190   50  76  98 118 152   210 475  698
        122   60  90 116 139 180   239 475  711
         50   78 117 151 180 224   268 456  716
         17   98 145 183 213 256   288 437  702
          9  116 170 210 240 279   298 418  684
         13  133 192 233 262 299   308 408  665
          0  146 207 249 277 310   317 399  656
         -9  160 222 264 291 320   325 390  653
        -15  174 237 278 304 330   332 380  651
        -17  185 249 289 313 337   339 370  646
        -13  192 256 295 318 340   342 361  632
         -4  196 258 296 317 334   336 342  609
          6  198 257 292 311 326   328 332  581
         11  197 256 291 311 327   329 332  565
          4  183 246 284 306 329   331 342  569
        -27  158 226 267 293 322   324 361  577
        -70  124 196 242 272 310   314 380  586
        -130   90 160 212 246 290   298 390  586
    """),
    blade=0.009,
    fat_pocket=0.014,
    muscle=0.006,
    spine_ridge=-0.005,
    hollow=0.0,
    ribs=0.0002,
    bone=0.3,
    asymmetry=0.0,
    hide="dun",
)
"""Round as a barrel, low withers, fat pockets bulging, a groove along the loin."""

LEAN_HORSE = Animal(
    name="lean_horse",
    withers_height=1.58,
    **_table("""
        215   30  48  64  78 104   165 500  720
        150   34  54  72  88 120   188 500  730
         84   42  68  93 116 157   216 480  735
         50   52  85 116 144 190   234 460  725
         47   60  98 134 163 207   241 440  700
         58   68 110 150 180 222   246 420  672
          0   84 130 168 197 233   252 410  640
        -40  104 154 190 216 247   262 400  620
        -62  124 175 210 233 260   270 390  605
        -70  138 189 222 243 267   274 380  595
        -67  147 198 229 248 268   274 360  578
        -55  154 204 233 250 266   269 340  552
        -38  160 211 238 252 262   263 310  524
        -20  160 214 243 259 269   270 320  520
        -16  148 204 238 258 274   278 340  540
        -40  126 184 223 248 272   278 360  560
        -80   98 158 202 231 264   274 380  575
       -140   70 126 174 207 248   264 390  580
    """),
    blade=0.013,
    fat_pocket=0.005,
    muscle=0.003,
    spine_ridge=0.006,
    hollow=0.009,
    ribs=0.0010,
    bone=1.0,
    asymmetry=0.002,
    hide="bay",
)
"""High sharp withers with the muscle sunk beside them, deep dip behind."""


def animal(rng: np.random.Generator) -> Animal:
    """Draw one animal of a made-up population: a blend of the three, with its own relief.

    Parameters
    ----------
    rng : numpy Generator; the same state draws the same animal.

    Returns
    -------
    Animal, named "drawn".

    Examples
    --------
    >>> one = animal(np.random.default_rng(4))
    >>> 1.15 < one.withers_height < 1.75
    True
    """
    kinds = (MULE, BROAD_PONY, LEAN_HORSE)
    share = rng.dirichlet([1.5, 1.0, 1.0])
    main = kinds[int(np.argmax(share))]

    def blend(field: str) -> NDArray[np.float64]:
        return np.tensordot(share, np.array([getattr(kind, field) for kind in kinds]), axes=1)

    def relief(field: str, low: float) -> float:
        return max(low, float(blend(field)) * rng.lognormal(0.0, 0.25))

    broad = 1 + 0.04 * rng.standard_normal()
    return replace(
        main,
        name="drawn",
        withers_height=float(np.clip(blend("withers_height") * rng.normal(1, 0.06), 1.15, 1.75)),
        crest=blend("crest") * rng.uniform(0.75, 1.25),
        half_width=blend("half_width") * broad,
        widest=blend("widest") * np.array([broad, 1.0]),
        depth=blend("depth") * (1 + 0.02 * rng.standard_normal()),
        blade=relief("blade", 0.005),
        fat_pocket=relief("fat_pocket", 0.002),
        muscle=relief("muscle", 0.0),
        spine_ridge=float(blend("spine_ridge") + 0.001 * rng.standard_normal()),
        hollow=relief("hollow", 0.0),
        ribs=relief("ribs", 0.0),
        bone=min(1.0, relief("bone", 0.0)),
        asymmetry=float(rng.normal(0.001, 0.003)),
    )
