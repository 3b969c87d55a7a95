/** The stage: the picture, the marks over it, and what pointer and keys do there. */

import { draw, drawLoupe, drawMarks, View, within } from "./photo_drawing.js";
import { HINTS, HOLDS, Keys, LOUPE_UNTIL, Pointers } from "./photo_hands.js";
import { rounded } from "./photo_request.js";
import { everyMark, newOutline, newRow, newSegment, removePoint, settle, thing, RULES } from "./photo_sheet.js";

/** One press of + or −. */
const ZOOM_STEP = 1.3;
/** Milliseconds without a change until the picture is drawn as finely as it can be. */
const SETTLED_MS = 160;
const LOUPE_APART = 34;

/** @typedef {{x: number, y: number}} At */
/** @typedef {{say: (text: string) => void, drawnRow: (item: number) => void, tool: (name: string) => void,
 *   focus: (id: string) => void}} Tells */

export class Stage {
  /** @param {import("./photo_sheet.js").Sheet} sheet @param {Tells} tells */
  constructor(sheet, tells) {
    this.sheet = sheet;
    this.tells = tells;
    this.element = /** @type {HTMLElement} */ (document.getElementById("stage"));
    this.canvas = /** @type {HTMLCanvasElement} */ (document.getElementById("picture"));
    this.svg = /** @type {SVGElement} */ (/** @type {unknown} */ (document.getElementById("marks")));
    this.loupe = /** @type {HTMLCanvasElement} */ (document.getElementById("loupe"));
    this.view = new View();
    /** @type {import("./photo_drawing.js").Picture | null} */
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
    this.keys = new Keys(this);
    this.element.addEventListener("blur", () => this.hideLoupe());
  }

  /** @param {import("./photo_drawing.js").Picture} picture */
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

  /** Draw at the next frame, and finely once nothing changes any more. */
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
    this.element.dataset.hand = name;
    this.tells.tool(name);
    this.tells.say(HINTS[name]);
    this.redraw();
  }

  /** @returns {import("./photo_hands.js").Doing} */
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

  /** Take the nearest mark that the tool can move. @param {At} at @param {number} reach */
  grab(at, reach) {
    this.cross = null;
    let near = /** @type {import("./photo_sheet.js").Mark | null} */ (null);
    let best = reach;
    for (const mark of everyMark(this.sheet.marks)) {
      const spot = this.view.toStage(this.spot(mark));
      const far = Math.hypot(spot.x - at.x, spot.y - at.y);
      if (HOLDS[this.tool].includes(mark.kind) && far <= best) [near, best] = [mark, far];
    }
    this.sheet.select(near);
    if (!near) return false;
    const spot = this.view.toStage(this.spot(near));
    this.dragged = { off: { x: spot.x - at.x, y: spot.y - at.y }, held: false };
    return true;
  }

  /** @param {import("./photo_sheet.js").Mark} mark */
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

  /** @param {import("./photo_sheet.js").Mark} mark @param {At} spot */
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
    if (Math.hypot(end.x - start.x, end.y - start.y) < RULES.shortest)
      return this.tells.say("That line is too short: draw it along the whole row.");
    if (this.sheet.marks.rows.length >= RULES.mostRows)
      return this.tells.say(`${RULES.mostRows} rows are marked, the most possible: delete one first.`);
    this.sheet.change((marks) => marks.rows.push(newRow([start.x, start.y, end.x, end.y])));
    return this.tells.drawnRow(this.sheet.marks.rows.length - 1);
  }

  /** @param {At} spot */
  addContact(spot) {
    const { rows } = this.sheet.marks;
    if (!rows.length) return this.tells.say("Draw a row first, then add contacts to it.");
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
    this.tells.say(set < most ? `Point ${set} of ${most} is set.` : "All points are set. Choose in the list what it is.");
  }

  /** @param {At} spot */
  addScaleEnd(spot) {
    this.sheet.change(({ scale }) => {
      scale.how = "segment";
      if (scale.points.length >= 2) scale.points = [];
      scale.points.push(spot);
    });
    const both = this.sheet.marks.scale.points.length === 2;
    this.tells.say(both ? "Now give its length." : "Now click the other end.");
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

  /** @param {import("./photo_sheet.js").Mark} mark */
  named(mark) {
    const spot = this.spot(mark);
    const thingName = {
      rows: `row ${mark.item + 1}, contact`,
      outlines: `outline ${mark.item + 1}, corner`,
      segments: `length ${mark.item + 1}, end`,
      scale: "scale, end",
    }[mark.kind];
    return `${thingName} ${mark.point + 1} at ${spot.x}, ${spot.y}${spot.doubt ? `; doubtful: ${spot.doubt}` : ""}`;
  }

  /** What a button or a key asks for. @param {string} name */
  act(name) {
    const { selected } = this.sheet;
    if (name === "undo" && !this.sheet.undo()) this.tells.say("There is nothing to undo.");
    if (name === "redo" && !this.sheet.redo()) this.tells.say("There is nothing to redo.");
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

/** The row whose line passes nearest. @param {import("./photo_sheet.js").Row[]} rows @param {At} spot */
function nearestRow(rows, spot) {
  const apart = rows.map((row) => {
    const [x0, y0, x1, y1] = row.line ?? [
      row.points[0]?.x ?? 0,
      row.points[0]?.y ?? 0,
      row.points.at(-1)?.x ?? 1,
      row.points.at(-1)?.y ?? 0,
    ];
    const length = Math.hypot(x1 - x0, y1 - y0) || 1;
    return Math.abs((spot.x - x0) * (y1 - y0) - (spot.y - y0) * (x1 - x0)) / length;
  });
  return apart.indexOf(Math.min(...apart));
}
