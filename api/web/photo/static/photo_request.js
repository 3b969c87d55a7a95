/** Requests to the server: the contacts along a line, from a narrow grey strip of the picture; and lengths and counts,
 * from the points of the marks alone. */

import { pen2d } from "./photo_drawing.js";
import { inOrder, RULES } from "./photo_sheet.js";

/** @typedef {import("./photo_sheet.js").Marks} Marks */
/** @typedef {{field: string, message: string, remedy?: string | null}} Fault */
/** @typedef {{kind: import("./photo_sheet.js").Kind, item: number}} Place */

/** Points of a row that are used: the clear ones, or all where too few are clear.
 * @param {import("./photo_sheet.js").Row} row */
export function pointsThatCount(row) {
  const clear = row.points.map((_, index) => index).filter((index) => !row.points[index].doubt);
  return clear.length >= RULES.fewestContacts ? clear : row.points.map((_, index) => index);
}

/** @param {Marks} marks @returns {{body: any, places: Record<string, Place & {points: number[]}>, faults: Fault[]} | null}
 * The request, which mark is at which place of it, and why a scale cannot be used; null: nothing is marked yet. */
export function requestOf(marks) {
  /** @type {Record<string, Place & {points: number[]}>} */
  const places = {};
  /** @type {any} */
  const [instrument, taken] = marks.camera.split("/");
  const picture = { name: marks.name, instrument, ...(taken && { taken }), rows: [], outlines: [], segments: [] };
  const add = (
    /** @type {import("./photo_sheet.js").Kind} */ kind,
    /** @type {number} */ item,
    /** @type {any} */ what,
    /** @type {number[]} */ points,
  ) => {
    places[`pictures[0].${kind}[${picture[kind].length}]`] = { kind, item, points };
    picture[kind].push({ ...what, ...(marks.of === "this" || what.of ? {} : { of: marks.of }) });
  };
  marks.rows.forEach((row, item) => {
    const points = pointsThatCount(row);
    if (points.length >= RULES.fewestContacts)
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

/** @param {import("./photo_sheet.js").Spot} spot */
const pair = (spot) => [spot.x, spot.y];

/** @param {{plane: string}} what */
const plane = (what) => (what.plane ? { plane: what.plane } : {});

/** @param {import("./photo_sheet.js").Outline} outline */
function outlineOf(outline) {
  const [along, across] = outline.what.split("/");
  const points = inOrder(outline.points);
  return { corners: points.map(pair), ...(along && { along }), ...(across && { across }), ...plane(outline) };
}

/** @param {import("./photo_sheet.js").Segment} segment */
function segmentOf(segment) {
  const [start, end] = segment.points.map(pair);
  return { start, end, feature: segment.feature, ...plane(segment), ...(chosen("length-choices", segment.feature)?.dataset.subject === "pair" && { of: "pair" }) };
}

/** An option of one of the lists of choices in the page. @param {string} list @param {string} value */
export function chosen(list, value) {
  const template = /** @type {HTMLTemplateElement} */ (document.getElementById(list));
  const found = template.content.querySelector(`[value="${CSS.escape(value)}"]`);
  return /** @type {HTMLOptionElement | null} */ (found);
}

/** A limit ± is taken as rectangular: its standard uncertainty is the limit over √3 (JCGM 100:2008, 4.3.7).
 * @param {import("./photo_sheet.js").Scale} scale @returns {{scale: any, faults: Fault[]}} */
function scaleOf(scale) {
  if (scale.how === "known") return knownScale(scale);
  if (scale.how !== "segment") return { scale: null, faults: [] };
  const missing = scale.points.length < 2;
  if (missing) return unusable("scale.points", "both ends of the known length are needed");
  const length = number(scale.length);
  if (!(length > 0)) return unusable("scale.length", "give its length, as in 10");
  const limit = scale.limit.trim() ? number(scale.limit) : 0;
  if (!(limit >= 0)) return unusable("scale.limit", "give a limit, as in 0.05, or leave it empty");
  const thickness = scale.thickness?.trim() ? number(scale.thickness) : 0;
  if (!(thickness >= 0)) return unusable("scale.thickness", "give its thickness, as in 1.5, or leave it empty");
  const mm = Number(chosen("unit-choices", scale.unit)?.dataset.mm);
  const [start, end] = scale.points.map(pair);
  const u = (limit * mm) / Math.sqrt(3);
  return {
    scale: {
      start,
      end,
      length_mm: length * mm,
      u_mm: Number(u.toPrecision(6)),
      plane: scale.plane,
      ...(thickness && { thickness_mm: thickness * mm }),
    },
    faults: [],
  };
}

/** @param {import("./photo_sheet.js").Scale} scale */
function knownScale(scale) {
  const perMm = number(scale.perMm);
  if (!(perMm > 0)) return unusable("scale.perMm", "give the pixels per millimetre, as in 127.4");
  const percent = scale.rel.trim() ? number(scale.rel) : null;
  if (percent !== null && !(percent >= 0))
    return unusable("scale.rel", "give a limit in per cent, or leave it empty");
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

/** @typedef {{canvas: HTMLCanvasElement, line: number[], place: (position: number) => {x: number, y: number}}} Strip
 * `line` in pixels of the strip; `place` gives the point of the picture at a position along it. */

/** @param {import("./photo_drawing.js").Picture} picture @param {number[]} line x0, y0, x1, y1 @returns {Strip} */
export function stripAlong(picture, line) {
  const [x0, y0, x1, y1] = line;
  const length = Math.hypot(x1 - x0, y1 - y0);
  const [dx, dy] = [(x1 - x0) / length, (y1 - y0) / length];
  const steps = Math.round(length);
  const times = steps / length;
  /** @param {number} along @param {number} across */
  const point = (along, across) => ({
    x: x0 + (along * dx - across * dy) / times,
    y: y0 + (along * dy + across * dx) / times,
  });
  const inside = (/** @type {number} */ along, /** @type {number} */ across) =>
    [across, -across].every((side) => holds(picture, point(along, side)));
  const most = Math.ceil(Math.min(length * RULES.widestPart, RULES.widest) / 2) + 3;
  const half = largest(most, (across) => inside(0, across) && inside(steps, across));
  const beyond = Math.ceil(RULES.beyond * steps) + 2;
  const ahead = largest(beyond, (along) => inside(-along, half));
  const behind = largest(beyond, (along) => inside(steps + along, half));
  const canvas = document.createElement("canvas");
  canvas.width = ahead + steps + 1 + behind;
  canvas.height = 2 * half + 1;
  const pen = pen2d(canvas, { willReadFrequently: true });
  const [a, c] = [times * dx, times * dy];
  const [cx, cy] = [x0 + 0.5, y0 + 0.5];
  pen.setTransform(a, -c, c, a, ahead + 0.5 - a * cx - c * cy, half + 0.5 + c * cx - a * cy);
  pen.drawImage(picture.image, 0, 0);
  makeGrey(pen, canvas);
  return { canvas, line: [ahead, half, ahead + steps, half], place: (position) => point(position, 0) };
}

/** @param {import("./photo_drawing.js").Picture} picture @param {{x: number, y: number}} spot */
function holds(picture, spot) {
  return spot.x >= 0 && spot.y >= 0 && spot.x <= picture.width - 1 && spot.y <= picture.height - 1;
}

/** The largest whole number up to `most` that fits; 0 where none does. @param {number} most
 * @param {(tried: number) => boolean} fits */
function largest(most, fits) {
  let tried = most;
  while (tried > 0 && !fits(tried)) tried -= 1;
  return tried;
}

/** Grey as ITU-R BT.601 weighs colours, and opaque. @param {CanvasRenderingContext2D} pen
 * @param {HTMLCanvasElement} canvas */
function makeGrey(pen, canvas) {
  const pixels = pen.getImageData(0, 0, canvas.width, canvas.height);
  const { data } = pixels;
  for (let at = 0; at < data.length; at += 4) {
    const grey = 0.299 * data[at] + 0.587 * data[at + 1] + 0.114 * data[at + 2];
    data[at] = data[at + 1] = data[at + 2] = grey;
    data[at + 3] = 255;
  }
  pen.putImageData(pixels, 0, 0);
}

/** @param {HTMLCanvasElement} canvas @returns {Promise<Blob>} */
function asPng(canvas) {
  return new Promise((done, failed) =>
    canvas.toBlob((blob) => (blob ? done(blob) : failed(new Error("This browser cannot cut pictures."))), "image/png"),
  );
}

/** Contacts along a line. @param {import("./photo_drawing.js").Picture} picture @param {number[]} line
 * @returns {Promise<{points: import("./photo_sheet.js").Spot[], found: import("./photo_sheet.js").Found}>} */
export async function findContacts(picture, line) {
  const strip = stripAlong(picture, line);
  const response = await fetch(`/v1/measure/row?line=${strip.line.join(",")}`, {
    method: "POST",
    headers: { "Content-Type": "image/png", Accept: "application/json" },
    body: await (await asPng(strip.canvas)).arrayBuffer(),
  });
  const answer = await response.json();
  if (!response.ok) throw new Error(whatIsWrong(answer));
  const [row] = answer.rows;
  const points = row.contacts.map((/** @type {any} */ contact) => ({
    ...rounded(strip.place(contact.position)),
    doubt: contact.doubtful,
  }));
  const { count, count_probability: probability, sure, reasons, missing, alternatives } = row;
  return { points, found: { count, probability, sure, reasons, missing, alternatives } };
}

/** @param {any} problem A problem of the interface (RFC 9457). */
function whatIsWrong(problem) {
  const [first] = problem.errors ?? [];
  return first ? sentence(first) : (problem.detail ?? problem.title);
}

/** @param {{message: string, remedy?: string | null}} fault */
export const sentence = (fault) => `${fault.message}${fault.remedy ? `: ${fault.remedy}` : ""}.`;

/** To hundredths of a pixel, finer than anybody can point. @param {{x: number, y: number}} spot */
export function rounded(spot) {
  return { x: Math.round(spot.x * 100) / 100, y: Math.round(spot.y * 100) / 100 };
}

/** The contact count of the marked rows: observations in the short form, and notes.
 * @param {Marks} marks @param {AbortSignal} signal @returns {Promise<{pieces: string[], notes: string[]}>} */
export async function countsOf(marks, signal) {
  const asked = new URLSearchParams({ of: marks.of, ...(marks.rowCount && { row_count: marks.rowCount }) });
  for (const { feature, points, found } of marks.rows) {
    const clear = points.filter((spot) => !spot.doubt).length;
    asked.append("row", JSON.stringify({ feature, marked: points.length, clear, found: found && countOf(found) }));
  }
  const response = await fetch(`/photo/counts?${asked}`, { headers: { Accept: "application/json" }, signal });
  const answer = await response.json();
  return response.ok ? answer : { pieces: [], notes: [whatIsWrong(answer)] };
}

/** @param {import("./photo_sheet.js").Found} found */
function countOf({ count, probability, sure, missing, alternatives }) {
  const others = alternatives.map((other) => [other.count, other.probability]);
  return { likely: [[count, probability], ...others], missing: missing.length, sure };
}
