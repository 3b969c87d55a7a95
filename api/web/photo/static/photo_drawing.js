/** What the stage shows: the picture, drawn as finely as the zoom needs, and the marks over it. Pixel centres are at whole
 * numbers, as everywhere. */

import { figures } from "./photo_results.js";
import { everyMark, inOrder } from "./photo_sheet.js";

/** Largest magnification, screen pixels per pixel of the picture: finer than that, a pixel is a tile. */
const LARGEST = 40;
/** Smallest, as a part of showing the whole picture. */
const SMALLEST = 0.5;

export class View {
  constructor() {
    this.scale = 1;
    this.x = 0;
    this.y = 0;
    this.width = 1;
    this.height = 1;
    this.stage = { width: 1, height: 1 };
  }

  /** @param {{x: number, y: number}} spot */
  toStage(spot) {
    return { x: this.x + (spot.x + 0.5) * this.scale, y: this.y + (spot.y + 0.5) * this.scale };
  }

  /** @param {{x: number, y: number}} at */
  toPicture(at) {
    return { x: (at.x - this.x) / this.scale - 0.5, y: (at.y - this.y) / this.scale - 0.5 };
  }

  /** Show all of a picture. @param {number} width @param {number} height */
  fit(width = this.width, height = this.height) {
    Object.assign(this, { width, height });
    this.scale = this.whole();
    this.x = (this.stage.width - width * this.scale) / 2;
    this.y = (this.stage.height - height * this.scale) / 2;
  }

  whole() {
    return Math.min(this.stage.width / this.width, this.stage.height / this.height);
  }

  /** @param {number} factor @param {{x: number, y: number}} about A point of the stage that stays where it is. */
  zoom(factor, about = { x: this.stage.width / 2, y: this.stage.height / 2 }) {
    const scale = Math.min(LARGEST, Math.max(SMALLEST * this.whole(), this.scale * factor));
    const ratio = scale / this.scale;
    this.scale = scale;
    this.pan((1 - ratio) * (about.x - this.x), (1 - ratio) * (about.y - this.y));
  }

  /** Some of the picture always stays in sight. @param {number} dx @param {number} dy */
  pan(dx, dy) {
    const { stage, scale } = this;
    this.x = within(this.x + dx, stage.width / 2 - this.width * scale, stage.width / 2);
    this.y = within(this.y + dy, stage.height / 2 - this.height * scale, stage.height / 2);
  }

  /** Pan just as far as brings a point of the picture into sight. @param {{x: number, y: number}} spot */
  show(spot, margin = 40) {
    const at = this.toStage(spot);
    const { width, height } = this.stage;
    this.pan(within(at.x, margin, width - margin) - at.x, within(at.y, margin, height - margin) - at.y);
  }

  /** The stage's new size; what lay in the middle stays there. @param {number} width @param {number} height */
  resize(width, height) {
    const middle = this.toPicture({ x: this.stage.width / 2, y: this.stage.height / 2 });
    this.stage = { width, height };
    const now = this.toStage(middle);
    this.pan(width / 2 - now.x, height / 2 - now.y);
  }
}

/** @param {number} value @param {number} low @param {number} high */
export function within(value, low, high) {
  return Math.min(Math.max(value, low), Math.max(low, high));
}

/** Most pixels of the copy that is drawn while moving, and its longest side: every phone can hold it. */
const MOST_PIXELS = 12e6;
const LONGEST_SIDE = 4096;

/** @typedef {{image: HTMLImageElement, width: number, height: number, copy: HTMLCanvasElement, part: number}} Picture
 * `part`: pixels of the copy per pixel of the picture; coordinates are always those of the picture. */

/** @param {Blob} blob @returns {Promise<Picture>} */
export async function openPicture(blob) {
  const image = new Image();
  const address = URL.createObjectURL(blob);
  image.src = address;
  try {
    await image.decode();
  } catch {
    throw new Error("This browser cannot read that as a picture. Try JPEG or PNG.");
  } finally {
    URL.revokeObjectURL(address);
  }
  const { naturalWidth: width, naturalHeight: height } = image;
  if (!width || !height || blob.type === "image/svg+xml") throw new Error("That is a drawing, not a photo.");
  const part = Math.min(1, LONGEST_SIDE / Math.max(width, height), Math.sqrt(MOST_PIXELS / (width * height)));
  return { image, width, height, copy: drawnCopy(image, width, height, part), part };
}

/** @param {HTMLImageElement} image @param {number} width @param {number} height @param {number} part */
function drawnCopy(image, width, height, part) {
  const copy = document.createElement("canvas");
  copy.width = Math.max(1, Math.round(width * part));
  copy.height = Math.max(1, Math.round(height * part));
  const pen = pen2d(copy);
  pen.imageSmoothingQuality = "high";
  pen.drawImage(image, 0, 0, copy.width, copy.height);
  return copy;
}

/** @param {HTMLCanvasElement} canvas @param {CanvasRenderingContext2DSettings} [how] */
export function pen2d(canvas, how) {
  const pen = canvas.getContext("2d", how);
  if (!pen) throw new Error("This browser cannot draw pictures.");
  return pen;
}

/** Draw what the view shows. `fine`: from the picture itself, where the copy is coarser than the screen.
 * @param {HTMLCanvasElement} canvas @param {Picture} picture @param {View} view
 * @param {boolean} fine */
export function draw(canvas, picture, view, fine) {
  const pen = pen2d(canvas);
  const dots = canvas.width / view.stage.width;
  const own = fine && picture.part < 1 && view.scale * dots > picture.part;
  pen.setTransform(1, 0, 0, 1, 0, 0);
  pen.clearRect(0, 0, canvas.width, canvas.height);
  pen.setTransform(dots, 0, 0, dots, 0, 0);
  pen.imageSmoothingEnabled = view.scale < 3;
  pen.drawImage(
    own ? picture.image : picture.copy,
    view.x,
    view.y,
    picture.width * view.scale,
    picture.height * view.scale,
  );
}

/** How many times larger than on the stage the loupe shows, and at least, screen pixels per pixel. */
const LOUPE_TIMES = 3;
const LOUPE_LEAST = 2;

/** Draw the surroundings of a point with cross hairs through its middle.
 * @param {HTMLCanvasElement} canvas @param {Picture} picture @param {{x: number, y: number}} spot
 * @param {number} scale The stage's. */
export function drawLoupe(canvas, picture, spot, scale) {
  const pen = pen2d(canvas);
  const size = canvas.width;
  const times = Math.max(LOUPE_LEAST, LOUPE_TIMES * scale) * (size / canvas.clientWidth || 1);
  const seen = size / times;
  const [left, top] = [spot.x + 0.5 - seen / 2, spot.y + 0.5 - seen / 2];
  pen.fillStyle = "#777";
  pen.fillRect(0, 0, size, size);
  pen.imageSmoothingEnabled = times < 6;
  pen.drawImage(picture.image, left, top, seen, seen, 0, 0, size, size);
  for (const [colour, width] of /** @type {[string, number][]} */ ([
    ["#000", 4],
    ["#fff", 1.5],
  ])) {
    pen.strokeStyle = colour;
    pen.lineWidth = width;
    pen.stroke(crossHairs(size));
  }
}

/** @param {number} size */
function crossHairs(size) {
  const [half, gap] = [size / 2, size / 22];
  return new Path2D(
    `M0 ${half}H${half - gap}M${half + gap} ${half}H${size}M${half} 0V${half - gap}M${half} ${half + gap}V${size}`,
  );
}

const SVG = "http://www.w3.org/2000/svg";
/** Half-lengths on the screen, px. */
const TICK = 11;
const CORNER = 14;
/** Numbers closer together than this on the screen would run into one another. */
const NUMBER_ROOM = 20;

/** @typedef {{x: number, y: number}} At */

/** @param {string} name @param {Record<string, string | number>} attributes @param {string} [text] */
function element(name, attributes, text) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, String(value));
  if (text !== undefined) made.textContent = text;
  return made;
}

/** A line of ink with a halo of paper, so that it shows on any picture. @param {string} d @param {string} kind */
function ink(d, kind) {
  return [element("path", { d, class: "halo" }), element("path", { d, class: `ink ${kind}` })];
}

/** @param {At} at @param {string} text @param {string} [kind] */
function label(at, text, kind = "") {
  return element("text", { x: at.x.toFixed(1), y: at.y.toFixed(1), class: `label ${kind}` }, text);
}

/** @param {At} from @param {At} to @returns {[At, At]} Along and across, of length 1. */
function directions(from, to) {
  const length = Math.hypot(to.x - from.x, to.y - from.y) || 1;
  const along = { x: (to.x - from.x) / length, y: (to.y - from.y) / length };
  return [along, { x: -along.y, y: along.x }];
}

/** @param {At} at @param {At} way @param {number} by */
const moved = (at, way, by) => ({ x: at.x + way.x * by, y: at.y + way.y * by });
/** @param {At} at */
const p = (at) => `${at.x.toFixed(1)} ${at.y.toFixed(1)}`;
/** @param {At} from @param {At} to */
const stroke = (from, to) => `M${p(from)}L${p(to)}`;

/** @typedef {{sheet: import("./photo_sheet.js").Sheet, view: View, answer: any,
 *   order: Record<string, {kind: string, item: number}>, faults: {kind: string, item: number, point: number | null}[],
 *   drawing: {kind: string, points: At[]} | null, cross: At | null}} Scene */

/** @param {SVGElement} svg @param {Scene} scene */
export function drawMarks(svg, scene) {
  const { marks } = scene.sheet;
  svg.replaceChildren(
    ...marks.outlines.flatMap((outline, item) => outlineMarks(scene, outline, item)),
    ...marks.segments.flatMap((segment, item) =>
      spanMarks(scene, segment.points, `length ${item + 1}${measured(scene, segment.feature, ": ")}`, "measured"),
    ),
    ...spanMarks(
      scene,
      marks.scale.points,
      marks.scale.length ? `${marks.scale.length} ${marks.scale.unit}` : "scale",
      "known",
    ),
    ...marks.rows.flatMap((row, item) => rowMarks(scene, row, item)),
    ...scene.faults.flatMap((fault) => faultMarks(scene, fault)),
    ...selectedMarks(scene),
    ...drawnNow(scene),
  );
}

/** @param {Scene} scene @param {import("./photo_sheet.js").Row} row @param {number} item */
function rowMarks(scene, row, item) {
  const at = row.points.map((spot) => scene.view.toStage(spot));
  const ends = row.line
    ? [lineEnd(row.line, 0), lineEnd(row.line, 2)].map((spot) => scene.view.toStage(spot))
    : [at[0], at.at(-1)];
  if (!ends[0] || !ends[1]) return [];
  const [along, across] = directions(ends[0], ends[1]);
  const step = at.length > 1 ? Math.hypot(at[1].x - at[0].x, at[1].y - at[0].y) : NUMBER_ROOM;
  const every = [1, 2, 5, 10, 20, 50].find((each) => each * step >= NUMBER_ROOM) ?? 100;
  const clear = at.filter((_, index) => !row.points[index].doubt);
  const doubtful = at.filter((_, index) => row.points[index].doubt);
  const ticks = clear.map((each) => stroke(moved(each, across, -TICK), moved(each, across, TICK))).join("");
  return [
    ...ink(stroke(ends[0], ends[1]), "row"),
    ...ink(ticks, "tick"),
    ...ink(doubtful.map((each) => lozenge(each)).join(""), "doubtful"),
    ...doubtful.map((each) => label(moved(each, across, -TICK - 12), "?", "doubtful")),
    ...ink(
      gaps(scene, row, item)
        .map((each) => stroke(moved(each, across, -TICK), moved(each, across, TICK)))
        .join(""),
      "gap",
    ),
    ...at.flatMap((each, index) =>
      numbered(index + 1, every) ? [label(moved(each, across, TICK + 9), String(index + 1))] : [],
    ),
    label(
      moved(moved(ends[0], along, -4), across, -TICK - 10),
      `row ${item + 1}: ${row.points.length}${row.found?.sure === false ? "?" : ""}${measured(scene, row.feature, " × ")}`,
      "caption",
    ),
  ];
}

/** Whether a contact is numbered: the first is, and every so many after it.
 * @param {number} number @param {number} every */
const numbered = (number, every) => number === 1 || (number % every === 0 && number >= 0.75 * every + 1);

/** @param {number[]} line @param {0 | 2} from */
const lineEnd = (line, from) => ({ x: line[from], y: line[from + 1] });

/** @param {At} at */
const lozenge = (at) => `M${p(moved(at, { x: 0, y: -1 }, 9))}l7 9l-7 9l-7 -9z`;

/** Places between the first contact and the last where nothing is marked.
 * @param {Scene} scene @param {import("./photo_sheet.js").Row} row @param {number} item @returns {At[]} */
function gaps(scene, row, item) {
  const place = Object.keys(scene.order).find(
    (each) => scene.order[each].kind === "rows" && scene.order[each].item === item,
  );
  const fitted = place && scene.answer?.pictures[0].rows[Number(/rows\[(\d+)\]/.exec(place)?.[1])];
  if (!fitted?.missing.length || !fitted.spans) return [];
  const [first, last] = [row.points[0], row.points[row.points.length - 1]].map((spot) => scene.view.toStage(spot));
  return fitted.missing.map((/** @type {number} */ site) => ({
    x: first.x + ((last.x - first.x) * site) / fitted.spans,
    y: first.y + ((last.y - first.y) * site) / fitted.spans,
  }));
}

/** The value of a feature, as written at a dimension line. @param {Scene} scene @param {string} feature
 * @param {string} before */
function measured(scene, feature, before) {
  const found = scene.answer?.budgets.find((/** @type {any} */ each) => each.feature === feature);
  return found ? `${before}${figures(found.value, found.expanded)[0]} ${found.unit}` : "";
}

/** @param {Scene} scene @param {import("./photo_sheet.js").Outline} outline @param {number} item */
function outlineMarks(scene, { points, what }, item) {
  const at = (points.length === 4 ? inOrder(points) : points).map((spot) => scene.view.toStage(spot));
  if (!at.length) return [];
  const edges = points.length === 4 ? `M${at.map(p).join("L")}Z` : `M${at.map(p).join("L")}`;
  const corners = at.map(
    (each) =>
      `M${p(moved(each, { x: -1, y: 0 }, CORNER))}h${2 * CORNER}M${p(moved(each, { x: 0, y: -1 }, CORNER))}v${2 * CORNER}`,
  );
  return [
    ...ink(edges, "edge"),
    ...ink(corners.join(""), "corner"),
    label(moved(at[at.length - 1], { x: 0, y: 1 }, 22), captionOf(scene, what, item), "caption"),
  ];
}

/** @param {Scene} scene @param {string} what @param {number} item */
function captionOf(scene, what, item) {
  const sides = what
    .split("/")
    .map((feature) => measured(scene, feature, ""))
    .filter(Boolean);
  return `outline ${item + 1}${sides.length ? ": " : ""}${sides.join(" by ")}`;
}

/** A dimension line with its end strokes and arrows.
 * @param {Scene} scene @param {import("./photo_sheet.js").Spot[]} points @param {string} text @param {string} kind */
function spanMarks(scene, points, text, kind) {
  const at = points.map((spot) => scene.view.toStage(spot));
  if (!at.length) return [];
  const [from, to] = [at[0], at[1] ?? at[0]];
  const [along, across] = directions(from, to);
  const ends = at.map((each) => stroke(moved(each, across, -TICK), moved(each, across, TICK))).join("");
  const heads = at[1] ? arrow(from, along, across, 1) + arrow(to, along, across, -1) : "";
  const middle = moved({ x: (from.x + to.x) / 2, y: (from.y + to.y) / 2 }, across, -12);
  return [...ink(stroke(from, to) + ends + heads, kind), label(middle, text, `caption ${kind}`)];
}

/** @param {At} tip @param {At} along @param {At} across @param {1 | -1} way */
function arrow(tip, along, across, way) {
  const foot = moved(tip, along, 10 * way);
  return `M${p(moved(foot, across, 4))}L${p(tip)}L${p(moved(foot, across, -4))}`;
}

/** @param {Scene} scene @param {{kind: string, item: number, point: number | null}} fault */
function faultMarks(scene, fault) {
  const all = everyMark(scene.sheet.marks).filter((mark) => mark.kind === fault.kind && mark.item === fault.item);
  return all
    .filter((mark) => fault.point === null || mark.point === fault.point)
    .flatMap((mark) => ink(crossedBox(scene.view.toStage(spotOf(scene, mark))), "fault"));
}

/** @param {At} at */
function crossedBox(at) {
  const [left, top] = [at.x - 10, at.y - 10];
  return `M${left.toFixed(1)} ${top.toFixed(1)}h20v20h-20zl20 20m0 -20l-20 20`;
}

/** @param {Scene} scene @param {import("./photo_sheet.js").Mark} mark */
function spotOf(scene, mark) {
  const { marks } = scene.sheet;
  return (mark.kind === "scale" ? marks.scale : marks[mark.kind][mark.item]).points[mark.point];
}

/** @param {Scene} scene */
function selectedMarks(scene) {
  const { selected } = scene.sheet;
  if (!selected) return [];
  const at = scene.view.toStage(spotOf(scene, selected));
  return ink(`M${p(moved(at, { x: -1, y: 0 }, 15))}a15 15 0 1 0 30 0a15 15 0 1 0 -30 0`, "selected");
}

/** What is being drawn, and the cross hairs of the keyboard. @param {Scene} scene */
function drawnNow(scene) {
  const at = (scene.drawing?.points ?? []).map((spot) => scene.view.toStage(spot));
  const line = at.length === 2 ? ink(stroke(at[0], at[1]), "now") : [];
  const start = at.length ? ink(`M${p(moved(at[0], { x: -1, y: 0 }, 5))}h10m-5 -5v10`, "now") : [];
  if (!scene.cross) return [...line, ...start];
  const cross = scene.view.toStage(scene.cross);
  const hairs = `M${p(moved(cross, { x: -1, y: 0 }, 24))}h18m12 0h18M${p(moved(cross, { x: 0, y: -1 }, 24))}v18m0 12v18`;
  return [...line, ...start, ...ink(hairs, "cross")];
}
