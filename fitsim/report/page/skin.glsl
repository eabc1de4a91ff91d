precision highp float;
uniform sampler2D hide, holes, map, from, to;
uniform float part, spacing, faint, apart; // apart: end of the scale of a difference, or 0
uniform vec2 grid;
varying vec2 at;

/* Cubic B-spline through the nodes' values: smooth, never beyond them. */
vec4 weigh(float t) {
  float u = 1.0 - t;
  return vec4(u * u * u, 3.0 * t * t * t - 6.0 * t * t + 4.0,
              3.0 * u * u * u - 6.0 * u * u + 4.0, t * t * t) / 6.0;
}
vec2 node(sampler2D values, ivec2 place) {
  return texelFetch(values, clamp(place, ivec2(0), ivec2(grid) - 1), 0).rg;
}
vec2 field(sampler2D values, vec2 place) {
  ivec2 low = ivec2(floor(place));
  vec4 a = weigh(place.x - float(low.x)), b = weigh(place.y - float(low.y));
  vec2 sum = vec2(0.0);
  for (int j = 0; j < 4; j++) {
    vec2 row = vec2(0.0);
    for (int i = 0; i < 4; i++) row += a[i] * node(values, low + ivec2(i - 1, j - 1));
    sum += b[j] * row;
  }
  return sum;
}
/* Cover of parallel lines, 9 mm apart and 1.2 mm wide, which go where they are too fine to see. */
float lines(float along) {
  float off = abs(mod(along, 0.009) - 0.0045), soft = max(fwidth(along), 0.0003);
  return clamp(0.5 + (0.0006 - off) / soft, 0.0, 1.0) * clamp(0.0045 / soft - 1.0, 0.0, 1.0);
}
void main() {
  vec2 place = at * (grid - 1.0);
  vec2 first = field(from, place), second = field(to, place);
  vec2 here = mix(first, second, part);
  float level = here.r, strong = here.r;
  if (apart > 0.0) { // second less first, whose middle is no difference
    level = 0.5 + 0.5 * (second.r - first.r) / apart;
    strong = abs(second.r - first.r);
    here.g = 0.0;
  }
  vec3 colour = texture2D(hide, at).rgb;
  float clear = clamp((here.g - 0.0012) / 0.0012, 0.0, 1.0);
  float along = (place.x + place.y) * 0.7071 * spacing;
  float off = abs(mod(along, 0.008) - 0.004);
  float soft = max(fwidth(along), 0.0003);
  float line = clamp(0.5 + (0.00065 - off) / soft, 0.0, 1.0) * clamp(0.004 / soft - 1.0, 0.0, 1.0);
  colour = mix(colour, vec3(0.518, 0.694, 0.769), 0.38 * clear);
  colour = mix(colour, vec3(0.094, 0.329, 0.420), 0.75 * clear * line);
  vec3 paint = texture2D(map, vec2((clamp(level, 0.0, 1.0) * 255.0 + 0.5) / 256.0, 0.5)).rgb;
  float pressed = clamp(strong / faint - 1.0, 0.0, 1.0);
  colour = mix(colour, paint, pressed);
  if (texture2D(holes, (place + 0.5) / grid).r > 0.5) { // filled: crossed lines over the pressure, as on the bare hide
    float crossed = max(lines(along), lines((place.x - place.y) * 0.7071 * spacing));
    vec3 ink = dot(colour, vec3(0.2126, 0.7152, 0.0722)) < 0.47 ? vec3(1.0) : vec3(0.149, 0.133, 0.118);
    colour = mix(colour, ink, 0.7 * pressed * crossed);
  }
  if (!gl_FrontFacing) colour = mix(colour, vec3(0.86, 0.84, 0.81), 0.85);
  gl_FragColor = vec4(colour, 1.0);
}
