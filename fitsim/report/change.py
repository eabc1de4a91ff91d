"""What changed between two scans in words and as numbers for `fitsim change`."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fitsim.draw.words import zone_words
from fitsim.units import show_length

if TYPE_CHECKING:
    from fitsim.back.back import Back
    from fitsim.back.change import Change, Patch, ZoneChange
    from fitsim.units import System

NO_DIAGNOSIS = (
    "A change in shape is no diagnosis: loss of muscle or a sudden swelling goes to a veterinarian."
)


def change_lines(before: Back, after: Back, found: Change, system: System = "metric") -> list[str]:
    """Return what changed, place by place and zone by zone.

    Parameters
    ----------
    before, after : Back
    found : Change
    system : {"metric", "inch"}

    Returns
    -------
    list of str
    """
    lines = [
        f"From {before.provenance.name} to {after.provenance.name}, laid on what stayed the same.",
        f"At a single place a change under {_size(found.floor, system)} is not told from noise.",
    ]
    lines += [f"  {_patch(patch, system)}" for patch in found.patches]
    if not found.patches:
        lines.append("  No place changed by more than that.")
    lines.append("Zone by zone, on average (give or take the noise, 2 standard deviations):")
    lines += [f"  {_zone(zone, system)}" for zone in found.zones]
    return [*lines, *(f"Caution: {caution}" for caution in found.cautions), NO_DIAGNOSIS]


def change_facts(before: Back, after: Back, found: Change) -> dict[str, object]:
    """Return the change as numbers with their units in the names.

    Parameters
    ----------
    before, after : Back
    found : Change

    Returns
    -------
    dict
        For `fitsim change --json`.
    """
    return {
        "before": before.provenance.name,
        "after": after.provenance.name,
        "floor_mm": 1e3 * found.floor,
        "T_before_after": found.T_before_after.tolist(),
        "patches": [
            {
                "x_mm": 1e3 * patch.x, "t_mm": 1e3 * patch.t,
                "most_mm": 1e3 * patch.most, "area_cm2": 1e4 * patch.area,
            }
            for patch in found.patches
        ],
        "zones": {
            zone.name: {
                "mean_mm": 1e3 * zone.mean, "floor_mm": 1e3 * zone.floor,
                "volume_cm3": 1e6 * zone.volume, "area_cm2": 1e4 * zone.area, "sure": zone.sure,
            }
            for zone in found.zones
        },
        "cautions": [*found.cautions, NO_DIAGNOSIS],
    }  # fmt: skip


def _size(length: float, system: System) -> str:
    return f"{1e3 * length:.1f} mm" if system == "metric" else f"{length / 0.0254:.2f} in"


def _patch(patch: Patch, system: System) -> str:
    kind = "Gained" if patch.most > 0 else "Lost"
    where = "behind" if patch.x < 0 else "in front of"
    side = "left" if patch.t > 0 else "right"
    area = (
        f"{1e4 * patch.area:.0f} cm2" if system == "metric" else f"{patch.area / 0.0254**2:.0f} in2"
    )
    return (
        f"{kind} up to {_size(abs(patch.most), system)} over {area}, {side}, "
        f"{show_length(abs(patch.x), system)} {where} the blade's rear edge, "
        f"{show_length(abs(patch.t), system)} from the spine"
    )


def _zone(zone: ZoneChange, system: System) -> str:
    kind, _, side = zone.name.rpartition("_")
    words = f"{zone_words(kind)}, {side}" if side in {"left", "right"} else zone_words(zone.name)
    sizes = f"give or take {_size(zone.floor, system)}"
    if not zone.sure:
        return f"{words}: no change seen ({sizes})"
    verb = "gained" if zone.mean > 0 else "lost"
    return f"{words}: {verb} {_size(abs(zone.mean), system)} ({sizes})"
