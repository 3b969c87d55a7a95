/** From marks to what `POST /v1/measure` takes, and back from the places it names to the marks. */

/** @typedef {import("./photo_state.js").Marks} Marks */
/** @typedef {{field: string, message: string, remedy?: string | null}} Fault */
/** @typedef {{kind: import("./photo_state.js").Kind, item: number}} Place */

const FEWEST_POINTS = 3;
const INCH_MM = 25.4;

/** Points of a row that count: the clear ones, or all where hardly any is clear.
 * @param {import("./photo_state.js").Row} row */
export function pointsThatCount(row) {
  const clear = row.points.map((_, index) => index).filter((index) => !row.points[index].doubt);
  return clear.length >= FEWEST_POINTS ? clear : row.points.map((_, index) => index);
}

/** @param {Marks} marks @returns {{body: any, places: Record<string, Place & {points: number[]}>, faults: Fault[]} | null}
 * The request, which mark stands at which place of it, and what keeps a scale from being used; null: nothing yet. */
export function requestOf(marks) {
  /** @type {Record<string, Place & {points: number[]}>} */
  const places = {};
  /** @type {any} */
  const picture = { name: marks.name, instrument: marks.camera, rows: [], outlines: [], segments: [] };
  const add = (
    /** @type {import("./photo_state.js").Kind} */ kind,
    /** @type {number} */ item,
    /** @type {any} */ what,
    /** @type {number[]} */ points,
  ) => {
    places[`pictures[0].${kind}[${picture[kind].length}]`] = { kind, item, points };
    picture[kind].push({ ...what, ...(marks.of === "this" || what.of ? {} : { of: marks.of }) });
  };
  marks.rows.forEach((row, item) => {
    const points = pointsThatCount(row);
    if (points.length >= FEWEST_POINTS)
      add(
        "rows",
        item,
        { points: points.map((at) => pair(row.points[at])), feature: row.feature, ...plane(row) },
        points,
      );
  });
  marks.outlines.forEach((outline, item) => {
    if (outline.points.length === 4) add("outlines", item, outlineOf(outline), [0, 1, 2, 3]);
  });
  marks.segments.forEach((segment, item) => {
    if (segment.points.length === 2) add("segments", item, segmentOf(segment), [0, 1]);
  });
  if (!Object.keys(places).length) return null;
  const { scale, faults } = scaleOf(marks.scale);
  if (scale) picture.scale = scale;
  places["pictures[0].scale"] = { kind: "scale", item: 0, points: [0, 1] };
  return { body: { pictures: [picture] }, places, faults };
}

/** @param {import("./photo_state.js").Spot} spot */
const pair = (spot) => [spot.x, spot.y];

/** @param {{plane: string}} what */
const plane = (what) => (what.plane ? { plane: what.plane } : {});

/** @param {import("./photo_state.js").Outline} outline */
function outlineOf(outline) {
  const [along, across] = outline.what.split("/");
  const points = inOrder(outline.points);
  return { corners: points.map(pair), ...(along && { along }), ...(across && { across }), ...plane(outline) };
}

/** Four corners in order round their middle, in whatever order they were clicked.
 * @param {import("./photo_state.js").Spot[]} points */
export function inOrder(points) {
  const middle = { x: mean(points.map((spot) => spot.x)), y: mean(points.map((spot) => spot.y)) };
  const angle = (/** @type {{x: number, y: number}} */ spot) => Math.atan2(spot.y - middle.y, spot.x - middle.x);
  return [...points].sort((one, other) => angle(one) - angle(other));
}

/** @param {number[]} numbers */
const mean = (numbers) => numbers.reduce((sum, each) => sum + each, 0) / numbers.length;

/** @param {import("./photo_state.js").Segment} segment */
function segmentOf(segment) {
  const [start, end] = segment.points.map(pair);
  return { start, end, feature: segment.feature, ...plane(segment), ...(ofThePair(segment.feature) && { of: "pair" }) };
}

/** Whether a length belongs to the two halves together. @param {string} feature */
function ofThePair(feature) {
  const template = /** @type {HTMLTemplateElement} */ (document.getElementById("length-choices"));
  const option = template.content.querySelector(`[value="${CSS.escape(feature)}"]`);
  return option?.getAttribute("data-subject") === "pair";
}

/** A limit ± counts as rectangular: its standard uncertainty is the limit over √3 (JCGM 100:2008, 4.3.7).
 * @param {import("./photo_state.js").Scale} scale @returns {{scale: any, faults: Fault[]}} */
function scaleOf(scale) {
  if (scale.how === "known") return knownScale(scale);
  if (scale.how !== "segment") return { scale: null, faults: [] };
  const missing = scale.points.length < 2;
  if (missing) return unusable("scale.points", "both ends of the known length are needed");
  const length = number(scale.length);
  if (!(length > 0)) return unusable("scale.length", "say how long it is, as in 10");
  const limit = scale.limit.trim() ? number(scale.limit) : 0;
  if (!(limit >= 0)) return unusable("scale.limit", "say how far off it may be, as in 0.05, or nothing");
  const mm = scale.unit === "in" ? INCH_MM : 1;
  const [start, end] = scale.points.map(pair);
  const u = (limit * mm) / Math.sqrt(3);
  return {
    scale: { start, end, length_mm: length * mm, u_mm: Number(u.toPrecision(6)), plane: scale.plane },
    faults: [],
  };
}

/** @param {import("./photo_state.js").Scale} scale */
function knownScale(scale) {
  const perMm = number(scale.perMm);
  if (!(perMm > 0)) return unusable("scale.perMm", "say how many pixels make a millimetre, as in 127.4");
  const percent = scale.rel.trim() ? number(scale.rel) : null;
  if (percent !== null && !(percent >= 0))
    return unusable("scale.rel", "say how far off it may be in per cent, or nothing");
  const rel = percent === null ? {} : { rel: Number((percent / 100 / Math.sqrt(3)).toPrecision(6)) };
  return { scale: { px_per_mm: perMm, ...rel, plane: scale.plane }, faults: [] };
}

/** @param {string} field @param {string} message @returns {{scale: null, faults: Fault[]}} */
const unusable = (field, message) => ({ scale: null, faults: [{ field, message }] });

/** A number as people type it; NaN for anything else. @param {string} text */
export function number(text) {
  const plain = text.trim().replace(",", ".");
  return /^[+-]?(\d+\.?\d*|\.\d+)$/.test(plain) ? Number(plain) : NaN;
}

/** The mark that a fault names: `pictures[0].rows[1].points[3]`.
 * @param {string} field @param {Record<string, Place & {points: number[]}>} places
 * @returns {{kind: string, item: number, point: number | null} | null} */
export function markAt(field, places) {
  const name = Object.keys(places).find((each) => field === each || field.startsWith(`${each}.`));
  if (!name) return null;
  const { kind, item, points } = places[name];
  const rest = field.slice(name.length);
  const index = /\[(\d+)\]/.exec(rest);
  const end = rest.startsWith(".start") ? 0 : rest.startsWith(".end") ? 1 : null;
  return { kind, item, point: index && kind === "rows" ? (points[Number(index[1])] ?? null) : end };
}
