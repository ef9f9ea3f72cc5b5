// The zone as it lies before the official: two edges, the leg line, the acceleration zone where there
// is one, and the mark to be placed. Whoever stands inside the track sees runners come from the right,
// whoever stands outside from the left: the drawing is turned to match, and can be turned by hand.

import { s } from "./dom.js";

const WIDE = 360, HIGH = 166, TOP = 30, FOOT = 108, FIGURES = 132, REACH = 4;

/** Around which metre the drawing is laid: the edge, or the mark where that lies farther off. */
export const middleOf = (position) => (Math.abs(position?.metres ?? 0) <= REACH - 0.5 ? 0 : position.metres);

/**
 * Draw it. `zone` has the measures, `edge` is start or end, `position` what was placed,
 * `middle` what `middleOf` tells (while somebody drags, that of before), `said` the words: {start,
 * end, leg, acceleration, running}. Returns the drawing, and the way from a point on the screen back
 * to metres from the edge.
 */
export function drawZone({ zone, edge, position, middle, turned, kind, said }) {
  const at = edge === "end" ? zone.length_m : 0;
  const [first, last] = [at + middle - REACH, at + middle + REACH];
  const x = (metres) => {
    const along = ((metres - first) / (last - first)) * WIDE;
    return turned ? WIDE - along : along;
  };
  const band = (from, to, name) => {
    const [low, high] = [Math.max(from, first), Math.min(to, last)];
    if (low >= high) return [];
    const left = Math.min(x(low), x(high));
    return s("rect", { class: name, x: left, y: TOP, width: Math.abs(x(high) - x(low)), height: FOOT - TOP });
  };
  const line = (metres, name, words) => {
    if (metres < first || metres > last) return [];
    const near = x(metres) < 60 ? "start" : x(metres) > WIDE - 60 ? "end" : "middle";
    return [s("line", { class: name, x1: x(metres), x2: x(metres), y1: TOP - 6, y2: FOOT + 6 }), s("text", { x: x(metres), y: TOP - 11, "text-anchor": near }, words)];
  };
  const metres = [];
  for (let one = Math.ceil(first); one <= last; one += 1) metres.push(tick(x(one), one - at));
  const [head, tail] = turned ? [14, 74] : [WIDE - 14, WIDE - 74];
  const back = turned ? 7 : -7;
  const drawing = s("svg", { viewBox: `0 0 ${WIDE} ${HIGH}`, class: "zone", "aria-hidden": "true", direction: "ltr" },
    s("rect", { class: "ground", x: 0, y: TOP, width: WIDE, height: FOOT - TOP }),
    zone.acceleration_m ? band(-zone.acceleration_m, 0, "acceleration") : [],
    band(0, zone.length_m, "inside"),
    s("line", { class: "lane", x1: 0, x2: WIDE, y1: TOP, y2: TOP }),
    s("line", { class: "lane", x1: 0, x2: WIDE, y1: FOOT, y2: FOOT }),
    metres,
    zone.acceleration_m ? line(-zone.acceleration_m, "edge", said.acceleration) : [],
    line(0, "edge", said.start),
    zone.leg_line_m > 0.5 && zone.leg_line_m < zone.length_m - 0.5 ? line(zone.leg_line_m, "leg", said.leg) : [],
    line(zone.length_m, "edge", said.end),
    s("path", { class: "running", d: `M${tail} ${HIGH - 10}H${head}m${back} -5L${head} ${HIGH - 10}l${back} 5` }),
    s("text", { x: turned ? tail + 6 : tail - 6, y: HIGH - 6, "text-anchor": turned ? "start" : "end" }, said.running),
    position ? mark(kind, x(at + position.metres), (position.uncertainty / (last - first)) * WIDE, turned) : [],
  );
  const metresAt = (clientX) => {
    const box = drawing.getBoundingClientRect();
    const share = (clientX - box.left) / box.width;
    const metres = first + (turned ? 1 - share : share) * (last - first) - at;
    return Math.round(metres * 20) / 20;
  };
  return { drawing, metresAt };
}

// Counted from the edge, as the place is read and typed: minus lies before it. A figure at the rim
// would be cut in half.
function tick(x, metres) {
  const mark = s("line", { class: "metre", x1: x, x2: x, y1: FOOT, y2: FOOT + (metres % 5 === 0 ? 9 : 5) });
  if (x < 12 || x > WIDE - 12) return mark;
  return [mark, s("text", { class: "figure", x, y: FIGURES, "text-anchor": "middle" }, metres === 0 ? "0 m" : String(metres).replace("-", "−"))];
}

// The baton by its leading end, a foot by its sole: the tip is where it was.
function mark(kind, tip, around, turned) {
  const middle = (TOP + FOOT) / 2, back = turned ? 1 : -1;
  return [
    s("rect", { class: "around", x: tip - around, y: middle - 24, width: around * 2, height: 48 }),
    s("line", { class: "tip", x1: tip, x2: tip, y1: TOP + 4, y2: FOOT - 4 }),
    kind === "baton"
      ? s("rect", { class: "baton", x: back < 0 ? tip - 46 : tip, y: middle - 8, width: 46, height: 16, rx: 8 })
      : s("path", { class: "baton", d: `M${tip} ${middle}q${back * 4} -12 ${back * 16} -9q${back * 18} 5 ${back * 26} 1q${back * 10} 0 ${back * 8} 9q${back * -2} 9 ${back * -12} 8q${back * -20} -1 ${back * -30} -1q${back * -8} -1 ${back * -8} -8z` }),
  ];
}
