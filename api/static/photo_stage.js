/** The stage: the picture, the marks over it, and what pointer and keys do there. */

import { everyMark, newOutline, newRow, newSegment, thing } from "./photo_state.js";
import { removePoint, settle } from "./photo_lists.js";
import { drawMarks } from "./photo_marks.js";
import { draw, drawLoupe } from "./photo_picture.js";
import { Pointers } from "./photo_pointer.js";
import { rounded, SHORTEST } from "./photo_strip.js";
import { View, within } from "./photo_view.js";

/** Kinds of marks that each tool takes hold of. */
const HOLDS = /** @type {Record<string, string[]>} */ ({
  move: ["rows", "outlines", "segments", "scale"],
  row: [],
  contact: ["rows"],
  corners: ["outlines"],
  length: ["segments"],
  scale: ["scale"],
});
export const TOOLS = Object.keys(HOLDS);
const HINTS = /** @type {Record<string, string>} */ ({
  move: "Drag the picture, or take hold of a mark.",
  row: "Draw a line along a row, from before its first contact to behind its last.",
  contact: "Click where a contact is that was not found; drag those that are off.",
  corners: "Click the four corners, in any order.",
  length: "Click one end, then the other.",
  scale: "Click both ends of something whose length you know, then say how long it is.",
});
/** Screen px of one press of an arrow key: the picture or the cross hairs, and fine. */
const [STRIDE, FINE] = [40, 1];
const CROSS_STRIDE = 8;
/** Pixels of the picture that an arrow key moves a mark, and fine. */
const [NUDGE, FINE_NUDGE] = [1, 0.1];
/** One press of + or −. */
const ZOOM_STEP = 1.3;
/** From this zoom on a mouse needs no loupe. */
const LOUPE_UNTIL = 2;
/** Milliseconds without a change until the picture is drawn as finely as it can be. */
const SETTLED_MS = 160;
const LOUPE_APART = 34;

/** @typedef {{x: number, y: number}} At */
/** @typedef {{say: (text: string) => void, drawnRow: (item: number) => void, tool: (name: string) => void,
 *   focus: (id: string) => void}} Tells */

export class Stage {
  /** @param {import("./photo_state.js").Sheet} sheet @param {Tells} tells */
  constructor(sheet, tells) {
    this.sheet = sheet;
    this.tells = tells;
    this.element = /** @type {HTMLElement} */ (document.getElementById("stage"));
    this.canvas = /** @type {HTMLCanvasElement} */ (document.getElementById("picture"));
    this.svg = /** @type {SVGElement} */ (/** @type {unknown} */ (document.getElementById("marks")));
    this.loupe = /** @type {HTMLCanvasElement} */ (document.getElementById("loupe"));
    this.view = new View();
    /** @type {import("./photo_picture.js").Picture | null} */
    this.picture = null;
    this.tool = "move";
    /** @type {At[]} Ends of the row that is being drawn, in the picture. */
    this.line = [];
    /** @type {At | null} Cross hairs of the keyboard, in the picture. */
    this.cross = null;
    /** @type {{off: At, held: boolean} | null} */
    this.dragged = null;
    this.result = { answer: null, order: {}, faults: /** @type {any[]} */ ([]) };
    this.waiting = 0;
    this.timer = 0;
    new Pointers(this.element, this.doing());
    new ResizeObserver(() => this.resized()).observe(this.element);
    this.element.addEventListener("keydown", (event) => this.key(event));
    this.element.addEventListener("blur", () => this.hideLoupe());
  }

  /** @param {import("./photo_picture.js").Picture} picture */
  show(picture) {
    this.picture = picture;
    this.element.classList.add("loaded");
    this.resized();
    this.view.fit(picture.width, picture.height);
    this.redraw();
  }

  resized() {
    const { clientWidth: width, clientHeight: height } = this.element;
    if (!width || !height) return;
    const dots = window.devicePixelRatio || 1;
    this.canvas.width = Math.round(width * dots);
    this.canvas.height = Math.round(height * dots);
    this.svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
    this.view.resize(width, height);
    this.redraw();
  }

  /** Draw at the next frame; and finely when nothing changes any more. */
  redraw() {
    if (!this.waiting) this.waiting = requestAnimationFrame(() => this.paint(false));
    clearTimeout(this.timer);
    this.timer = window.setTimeout(() => this.paint(true), SETTLED_MS);
  }

  /** @param {boolean} fine */
  paint(fine) {
    this.waiting = 0;
    if (this.picture) draw(this.canvas, this.picture, this.view, fine);
    const drawing = this.line.length ? { kind: "row", points: this.line } : null;
    drawMarks(this.svg, { sheet: this.sheet, view: this.view, ...this.result, drawing, cross: this.cross });
  }

  /** @param {string} name */
  choose(name) {
    this.tool = name;
    this.line = [];
    this.cross = null;
    this.hideLoupe();
    this.sheet.selected = null;
    this.element.dataset.tool = name;
    this.tells.tool(name);
    this.tells.say(HINTS[name]);
    this.redraw();
  }

  /** @returns {import("./photo_pointer.js").Doing} */
  doing() {
    return {
      grab: (at, reach) => this.grab(at, reach),
      drag: (at) => this.drag(at),
      drop: () => this.drop(),
      aims: () => Boolean(this.picture) && this.tool !== "move",
      draws: () => this.tool === "row",
      place: (at) => this.place(this.view.toPicture(at)),
      draw: (from, to) => this.rubber([this.view.toPicture(from), this.view.toPicture(to)]),
      drawn: (from, to) => this.drawRow(this.view.toPicture(from), this.view.toPicture(to)),
      pan: (dx, dy) => this.moved(() => this.view.pan(dx, dy)),
      zoom: (factor, about) => this.moved(() => this.view.zoom(factor, about)),
      aim: (at, touch) => this.aim(at, touch),
    };
  }

  /** @param {() => void} how */
  moved(how) {
    if (!this.picture) return;
    how();
    this.redraw();
  }

  /** Take hold of the nearest mark that the tool may move. @param {At} at @param {number} reach */
  grab(at, reach) {
    this.cross = null;
    let [near, best] = [null, reach];
    for (const mark of everyMark(this.sheet.marks)) {
      const spot = this.view.toStage(this.spot(mark));
      const far = Math.hypot(spot.x - at.x, spot.y - at.y);
      if (HOLDS[this.tool].includes(mark.kind) && far <= best) [near, best] = [/** @type {any} */ (mark), far];
    }
    this.sheet.select(near);
    if (!near) return false;
    const spot = this.view.toStage(this.spot(near));
    this.dragged = { off: { x: spot.x - at.x, y: spot.y - at.y }, held: false };
    return true;
  }

  /** @param {import("./photo_state.js").Mark} mark */
  spot(mark) {
    return thing(this.sheet.marks, mark).points[mark.point];
  }

  /** @param {At} at */
  drag(at) {
    const { dragged } = this;
    const { selected } = this.sheet;
    if (!dragged || !selected) return;
    if (!dragged.held) this.sheet.hold();
    dragged.held = true;
    this.put(selected, this.view.toPicture({ x: at.x + dragged.off.x, y: at.y + dragged.off.y }));
  }

  /** @param {import("./photo_state.js").Mark} mark @param {At} spot */
  put(mark, spot) {
    this.sheet.adjust((marks) => {
      const { points } = thing(marks, mark);
      points[mark.point] = { ...points[mark.point], ...rounded(this.inside(spot)) };
    });
  }

  drop() {
    const { selected } = this.sheet;
    if (this.dragged?.held && selected) this.sheet.adjust((marks) => settle(marks, selected));
    this.dragged = null;
  }

  /** @param {At} spot */
  inside(spot) {
    const { width, height } = this.view;
    return { x: within(spot.x, 0, width - 1), y: within(spot.y, 0, height - 1) };
  }

  /** @param {At[]} line */
  rubber(line) {
    this.line = line;
    this.redraw();
  }

  /** Set a point with the tool in hand. @param {At} where */
  place(where) {
    const spot = rounded(this.inside(where));
    if (this.tool === "row") {
      if (this.line.length) this.drawRow(this.line[0], spot);
      else this.rubber([spot]);
    }
    if (this.tool === "contact") this.addContact(spot);
    if (this.tool === "corners") this.addTo("outlines", 4, newOutline, spot);
    if (this.tool === "length") this.addTo("segments", 2, newSegment, spot);
    if (this.tool === "scale") this.addScaleEnd(spot);
  }

  /** @param {At} from @param {At} to */
  drawRow(from, to) {
    const [start, end] = [rounded(this.inside(from)), rounded(this.inside(to))];
    this.rubber([]);
    if (Math.hypot(end.x - start.x, end.y - start.y) < SHORTEST) return this.tells.say("That line is too short: draw it along the whole row.");
    const most = Number(document.getElementById("photo-bench")?.dataset.mostRows);
    if (this.sheet.marks.rows.length >= most) return this.tells.say(`${most} rows are marked: delete one first.`);
    this.sheet.change((marks) => marks.rows.push(newRow([start.x, start.y, end.x, end.y])));
    return this.tells.drawnRow(this.sheet.marks.rows.length - 1);
  }

  /** @param {At} spot */
  addContact(spot) {
    const { rows } = this.sheet.marks;
    if (!rows.length) return this.tells.say("Draw a row first; then contacts can be added to it.");
    const item = nearestRow(rows, spot);
    this.sheet.change((marks) => {
      marks.rows[item].points.push({ ...spot, doubt: null });
      settle(marks, { kind: "rows", item });
    });
    return this.tells.say(`Row ${item + 1}: ${rows[item].points.length} contacts.`);
  }

  /** @param {"outlines" | "segments"} kind @param {number} most @param {() => any} begin @param {At} spot */
  addTo(kind, most, begin, spot) {
    this.sheet.change((marks) => {
      const list = /** @type {any[]} */ (marks[kind]);
      if (!list.length || list[list.length - 1].points.length >= most) list.push(begin());
      list[list.length - 1].points.push(spot);
    });
    const set = this.sheet.marks[kind][this.sheet.marks[kind].length - 1].points.length;
    this.tells.say(set < most ? `Point ${set} of ${most} is set.` : "All points are set. Say in the list what it is.");
  }

  /** @param {At} spot */
  addScaleEnd(spot) {
    this.sheet.change(({ scale }) => {
      scale.how = "segment";
      if (scale.points.length >= 2) scale.points = [];
      scale.points.push(spot);
    });
    const both = this.sheet.marks.scale.points.length === 2;
    this.tells.say(both ? "Now say how long that is." : "Now its other end.");
    if (both) this.tells.focus("scale-length");
  }

  /** @param {At | null} at @param {boolean} touch */
  aim(at, touch) {
    if (this.line.length && at && this.tool === "row") this.rubber([this.line[0], this.view.toPicture(at)]);
    const wanted = at && this.picture && (touch || (this.tool !== "move" && this.view.scale < LOUPE_UNTIL));
    if (!wanted || !at) return this.hideLoupe();
    const { selected } = this.sheet;
    const aimed = this.dragged && selected ? this.spot(selected) : this.view.toPicture(at);
    return this.showLoupe(at, aimed);
  }

  hideLoupe() {
    this.loupe.hidden = true;
  }

  /** @param {At} at @param {At} spot */
  showLoupe(at, spot) {
    if (!this.picture) return;
    this.loupe.hidden = false;
    const size = this.loupe.offsetWidth;
    const above = at.y - size - LOUPE_APART;
    const x = within(at.x - size / 2, 0, this.view.stage.width - size);
    const y = above >= 0 ? above : at.y + LOUPE_APART;
    this.loupe.style.transform = `translate(${x}px, ${y}px)`;
    drawLoupe(this.loupe, this.picture, spot, this.view.scale);
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    if (event.target !== this.element || event.ctrlKey || event.metaKey || event.altKey || !this.picture) return;
    const arrow = ARROWS[event.key];
    const done = arrow ? this.arrow(arrow, event.shiftKey) : this.command(event.key);
    if (done !== false) event.preventDefault();
  }

  /** @param {[number, number]} way @param {boolean} fine */
  arrow([dx, dy], fine) {
    const { selected } = this.sheet;
    if (selected) return this.nudge(selected, dx, dy, fine);
    if (this.tool === "move") return this.moved(() => this.view.pan(-dx * STRIDE, -dy * STRIDE));
    const step = (fine ? FINE : CROSS_STRIDE) / this.view.scale;
    const from = this.cross ?? this.view.toPicture({ x: this.view.stage.width / 2, y: this.view.stage.height / 2 });
    this.cross = this.inside({ x: from.x + dx * step, y: from.y + dy * step });
    if (this.line.length) this.line = [this.line[0], this.cross];
    this.view.show(this.cross);
    if (this.view.scale < LOUPE_UNTIL) this.showLoupe(this.view.toStage(this.cross), this.cross);
    return this.redraw();
  }

  /** @param {import("./photo_state.js").Mark} mark @param {number} dx @param {number} dy @param {boolean} fine */
  nudge(mark, dx, dy, fine) {
    const step = fine ? FINE_NUDGE : NUDGE;
    const spot = this.spot(mark);
    this.sheet.hold();
    this.put(mark, { x: spot.x + dx * step, y: spot.y + dy * step });
    this.view.show(this.spot(mark));
    const now = this.spot(mark);
    this.tells.say(`${now.x}, ${now.y}`);
  }

  /** @param {string} key @returns {unknown} false: not a key of the stage. */
  command(key) {
    if (/^[1-6]$/.test(key)) return this.choose(TOOLS[Number(key) - 1]);
    if (key === "Enter" || key === " ") return this.cross ? this.place(this.cross) : this.startCross();
    const acts = /** @type {Record<string, () => unknown>} */ ({
      "+": () => this.act("larger"),
      "=": () => this.act("larger"),
      "-": () => this.act("smaller"),
      0: () => this.act("whole"),
      n: () => this.next(1),
      p: () => this.next(-1),
      Delete: () => this.act("delete"),
      Backspace: () => this.act("delete"),
      Escape: () => this.letGo(),
    });
    return acts[key]?.() ?? key in acts;
  }

  /** The first Enter shows where the cross hairs are. */
  startCross() {
    return this.tool === "move" ? false : this.arrow([0, 0], true);
  }

  letGo() {
    this.line = [];
    this.cross = null;
    this.hideLoupe();
    this.sheet.select(null);
  }

  /** @param {1 | -1} way */
  next(way) {
    const all = everyMark(this.sheet.marks);
    if (!all.length) return this.tells.say("There are no marks yet.");
    const now = all.findIndex((mark) => same(mark, this.sheet.selected));
    const mark = all[(now + way + all.length + (now < 0 && way < 0 ? 1 : 0)) % all.length];
    this.sheet.select(mark);
    this.view.show(this.spot(mark));
    return this.tells.say(this.named(mark));
  }

  /** @param {import("./photo_state.js").Mark} mark */
  named(mark) {
    const spot = this.spot(mark);
    const thingName = { rows: `row ${mark.item + 1}, contact`, outlines: `outline ${mark.item + 1}, corner`, segments: `length ${mark.item + 1}, end`, scale: "scale, end" }[mark.kind];
    return `${thingName} ${mark.point + 1} at ${spot.x}, ${spot.y}${spot.doubt ? `; doubtful: ${spot.doubt}` : ""}`;
  }

  /** What a button or a key asks for. @param {string} name */
  act(name) {
    const { selected } = this.sheet;
    if (name === "undo" && !this.sheet.undo()) this.tells.say("There is nothing to undo.");
    if (name === "redo" && !this.sheet.redo()) this.tells.say("There is nothing to do again.");
    if (name === "larger") this.moved(() => this.view.zoom(ZOOM_STEP, this.focus()));
    if (name === "smaller") this.moved(() => this.view.zoom(1 / ZOOM_STEP, this.focus()));
    if (name === "whole") this.moved(() => this.view.fit());
    if (name === "delete" && !selected) this.tells.say("Select a mark first: click it with Move, or press N.");
    if (name === "delete" && selected) {
      this.tells.say(`Deleted ${this.named(selected)}.`);
      this.sheet.selected = null;
      this.sheet.change((marks) => removePoint(marks, selected));
    }
    this.redraw();
  }

  /** Where zooming by keys holds the picture. */
  focus() {
    const { selected } = this.sheet;
    if (selected) return this.view.toStage(this.spot(selected));
    return this.cross ? this.view.toStage(this.cross) : undefined;
  }
}

const ARROWS = /** @type {Record<string, [number, number]>} */ ({
  ArrowLeft: [-1, 0],
  ArrowRight: [1, 0],
  ArrowUp: [0, -1],
  ArrowDown: [0, 1],
});

/** @param {import("./photo_state.js").Mark} one @param {import("./photo_state.js").Mark | null} other */
function same(one, other) {
  return other !== null && one.kind === other.kind && one.item === other.item && one.point === other.point;
}

/** The row whose line passes nearest. @param {import("./photo_state.js").Row[]} rows @param {At} spot */
function nearestRow(rows, spot) {
  const apart = rows.map((row) => {
    const [x0, y0, x1, y1] = row.line ?? [row.points[0]?.x ?? 0, row.points[0]?.y ?? 0, row.points.at(-1)?.x ?? 1, row.points.at(-1)?.y ?? 0];
    const length = Math.hypot(x1 - x0, y1 - y0) || 1;
    return Math.abs((spot.x - x0) * (y1 - y0) - (spot.y - y0) * (x1 - x0)) / length;
  });
  return apart.indexOf(Math.min(...apart));
}
