/** The tools, and what pointer and keys do with them on the stage. */

import { everyMark } from "./photo_sheet.js";

/** Kinds of marks that each tool can move. */
export const HOLDS = /** @type {Record<string, string[]>} */ ({
  move: ["rows", "outlines", "segments", "scale"],
  row: [],
  contact: ["rows"],
  corners: ["outlines"],
  length: ["segments"],
  scale: ["scale"],
});
export const TOOLS = Object.keys(HOLDS);
export const HINTS = /** @type {Record<string, string>} */ ({
  move: "Drag the picture or a mark.",
  row: "Draw a line along a row, from before its first contact to beyond its last.",
  contact: "Click a contact that was not found; drag those that are off.",
  corners: "Click the four corners, in any order.",
  length: "Click one end, then the other.",
  scale: "Click both ends of something whose length you know, then give its length.",
});

/** From this zoom on, a mouse needs no loupe. */
export const LOUPE_UNTIL = 2;

/** How near a press must be to a mark to take it, screen px. */
const REACH = { mouse: 10, pen: 14, touch: 22 };
/** A press that moves less than this is a click, screen px. */
const STILL = 4;
/** Zoom of one notch of a wheel (100 units). */
const NOTCH = 1.25;

/** @typedef {{x: number, y: number}} At */
/** @typedef {{grab: (at: At, reach: number) => boolean, drag: (at: At) => void, drop: () => void,
 *   aims: () => boolean, draws: () => boolean, place: (at: At) => void, draw: (from: At, to: At) => void,
 *   drawn: (from: At, to: At) => void, pan: (dx: number, dy: number) => void,
 *   zoom: (factor: number, about: At) => void, aim: (at: At | null, touch: boolean) => void}} Doing */

export class Pointers {
  /** @param {HTMLElement} stage @param {Doing} doing */
  constructor(stage, doing) {
    this.stage = stage;
    this.doing = doing;
    /** @type {Map<number, At>} */
    this.down = new Map();
    /** @type {{mode: string, from: At, moved: boolean, touch: boolean} | null} */
    this.press = null;
    stage.addEventListener("pointerdown", (event) => this.pressed(event));
    stage.addEventListener("pointermove", (event) => this.moved(event));
    stage.addEventListener("pointerup", (event) => this.lifted(event));
    stage.addEventListener("pointercancel", (event) => this.cancelled(event));
    stage.addEventListener("pointerleave", () => this.press ?? this.doing.aim(null, false));
    stage.addEventListener("wheel", (event) => this.turned(event), { passive: false });
  }

  /** @param {MouseEvent} event @returns {At} */
  at(event) {
    const box = this.stage.getBoundingClientRect();
    return { x: event.clientX - box.left - this.stage.clientLeft, y: event.clientY - box.top - this.stage.clientTop };
  }

  /** @param {PointerEvent} event */
  pressed(event) {
    if (event.target instanceof Element && event.target.closest("label, input, button")) return;
    this.stage.setPointerCapture(event.pointerId);
    const at = this.at(event);
    this.down.set(event.pointerId, at);
    if (this.down.size === 2) return this.pinchBegins();
    if (this.down.size > 2) return;
    const touch = event.pointerType === "touch";
    const middle = event.button === 1;
    const reach = REACH[/** @type {keyof typeof REACH} */ (event.pointerType)] ?? REACH.mouse;
    const held = !middle && this.doing.grab(at, reach);
    this.press = { mode: held ? "mark" : this.modeOf(middle, touch), from: at, moved: false, touch };
    if (touch && this.press.mode !== "pan") this.doing.aim(at, true);
  }

  /** @param {boolean} middle @param {boolean} touch */
  modeOf(middle, touch) {
    if (middle || !this.doing.aims()) return "pan";
    if (this.doing.draws()) return "draw";
    return touch ? "aim" : "click";
  }

  pinchBegins() {
    if (this.press?.mode === "mark") this.doing.drop();
    this.press = { mode: "pinch", from: { x: 0, y: 0 }, moved: true, touch: true };
    this.doing.aim(null, true);
  }

  /** @param {PointerEvent} event */
  moved(event) {
    const at = this.at(event);
    const before = this.down.get(event.pointerId);
    if (!this.press || !before) return this.doing.aim(at, false);
    if (this.press.mode === "pinch") return this.pinched(event.pointerId, at);
    this.down.set(event.pointerId, at);
    const { press } = this;
    press.moved ||= Math.hypot(at.x - press.from.x, at.y - press.from.y) > STILL;
    if (!press.moved) return;
    if (press.mode === "pan" || press.mode === "click") this.doing.pan(at.x - before.x, at.y - before.y);
    if (press.mode === "mark") this.doing.drag(at);
    if (press.mode === "draw") this.doing.draw(press.from, at);
    if (press.mode !== "pan" && press.mode !== "click") this.doing.aim(at, press.touch);
  }

  /** @param {number} id @param {At} at */
  pinched(id, at) {
    const other = [...this.down].find(([each]) => each !== id)?.[1];
    const before = this.down.get(id);
    this.down.set(id, at);
    if (!other || !before) return;
    const middle = (/** @type {At} */ one) => ({ x: (one.x + other.x) / 2, y: (one.y + other.y) / 2 });
    const apart = (/** @type {At} */ one) => Math.max(1, Math.hypot(one.x - other.x, one.y - other.y));
    this.doing.zoom(apart(at) / apart(before), middle(before));
    this.doing.pan(middle(at).x - middle(before).x, middle(at).y - middle(before).y);
  }

  /** @param {PointerEvent} event */
  lifted(event) {
    const at = this.at(event);
    const { press } = this;
    this.down.delete(event.pointerId);
    if (!press || this.down.size) return;
    this.press = null;
    if (press.touch) this.doing.aim(null, true);
    if (press.mode === "mark") this.doing.drop();
    else if (press.mode === "draw" && press.moved) this.doing.drawn(press.from, at);
    else if (press.mode === "aim" || (!press.moved && (press.mode === "click" || press.mode === "draw")))
      this.doing.place(at);
  }

  /** @param {PointerEvent} event */
  cancelled(event) {
    this.down.delete(event.pointerId);
    if (this.press?.mode === "mark") this.doing.drop();
    this.press = null;
    this.doing.aim(null, true);
  }

  /** @param {WheelEvent} event */
  turned(event) {
    if (!this.stage.classList.contains("loaded")) return;
    event.preventDefault();
    const lines = event.deltaMode === WheelEvent.DOM_DELTA_LINE ? 33 : 1;
    this.doing.zoom(NOTCH ** ((-event.deltaY * lines) / 100), this.at(event));
  }
}

/** Screen px of one press of an arrow key: the picture or the cross hairs, and fine. */
const [STRIDE, FINE] = [40, 1];
const CROSS_STRIDE = 8;
/** Pixels of the picture that an arrow key moves a mark, and fine. */
const [NUDGE, FINE_NUDGE] = [1, 0.1];

const ARROWS = /** @type {Record<string, [number, number]>} */ ({
  ArrowLeft: [-1, 0],
  ArrowRight: [1, 0],
  ArrowUp: [0, -1],
  ArrowDown: [0, 1],
});

/** @param {import("./photo_sheet.js").Mark} one @param {import("./photo_sheet.js").Mark | null} other */
function same(one, other) {
  return other !== null && one.kind === other.kind && one.item === other.item && one.point === other.point;
}

export class Keys {
  /** @param {import("./photo_stage.js").Stage} stage */
  constructor(stage) {
    this.stage = stage;
    stage.element.addEventListener("keydown", (event) => this.key(event));
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    if (event.target !== this.stage.element || event.ctrlKey || event.metaKey || event.altKey || !this.stage.picture)
      return;
    const arrow = ARROWS[event.key];
    const done = arrow ? this.arrow(arrow, event.shiftKey) : this.command(event.key);
    if (done !== false) event.preventDefault();
  }

  /** @param {[number, number]} way @param {boolean} fine */
  arrow([dx, dy], fine) {
    const { selected } = this.stage.sheet;
    if (selected) return this.nudge(selected, dx, dy, fine);
    if (this.stage.tool === "move") return this.stage.moved(() => this.stage.view.pan(-dx * STRIDE, -dy * STRIDE));
    const step = (fine ? FINE : CROSS_STRIDE) / this.stage.view.scale;
    const from =
      this.stage.cross ??
      this.stage.view.toPicture({ x: this.stage.view.stage.width / 2, y: this.stage.view.stage.height / 2 });
    this.stage.cross = this.stage.inside({ x: from.x + dx * step, y: from.y + dy * step });
    if (this.stage.line.length) this.stage.line = [this.stage.line[0], this.stage.cross];
    this.stage.view.show(this.stage.cross);
    if (this.stage.view.scale < LOUPE_UNTIL)
      this.stage.showLoupe(this.stage.view.toStage(this.stage.cross), this.stage.cross);
    const { x, y } = this.stage.cross;
    this.stage.tells.say(`Cross hairs at ${Math.round(x)}, ${Math.round(y)}.`);
    return this.stage.redraw();
  }

  /** @param {import("./photo_sheet.js").Mark} mark @param {number} dx @param {number} dy @param {boolean} fine */
  nudge(mark, dx, dy, fine) {
    const step = fine ? FINE_NUDGE : NUDGE;
    const spot = this.stage.spot(mark);
    this.stage.sheet.hold();
    this.stage.put(mark, { x: spot.x + dx * step, y: spot.y + dy * step });
    this.stage.view.show(this.stage.spot(mark));
    const now = this.stage.spot(mark);
    this.stage.tells.say(`${now.x}, ${now.y}`);
  }

  /** @param {string} key @returns {unknown} false: not a key of the stage. */
  command(key) {
    if (/^[1-6]$/.test(key)) return this.stage.choose(TOOLS[Number(key) - 1]);
    if (key === "Enter" || key === " ")
      return this.stage.cross ? this.stage.place(this.stage.cross) : this.startCross();
    const acts = /** @type {Record<string, () => unknown>} */ ({
      "+": () => this.stage.act("larger"),
      "=": () => this.stage.act("larger"),
      "-": () => this.stage.act("smaller"),
      0: () => this.stage.act("whole"),
      n: () => this.next(1),
      p: () => this.next(-1),
      Delete: () => this.stage.act("delete"),
      Backspace: () => this.stage.act("delete"),
      Escape: () => this.letGo(),
    });
    return acts[key]?.() ?? key in acts;
  }

  /** The first Enter shows where the cross hairs are. */
  startCross() {
    return this.stage.tool === "move" ? false : this.arrow([0, 0], true);
  }

  letGo() {
    this.stage.line = [];
    this.stage.cross = null;
    this.stage.hideLoupe();
    this.stage.sheet.select(null);
  }

  /** @param {1 | -1} way */
  next(way) {
    const all = everyMark(this.stage.sheet.marks);
    if (!all.length) return this.stage.tells.say("There are no marks yet.");
    const now = all.findIndex((mark) => same(mark, this.stage.sheet.selected));
    const mark = all[(now + way + all.length + (now < 0 && way < 0 ? 1 : 0)) % all.length];
    this.stage.sheet.select(mark);
    this.stage.view.show(this.stage.spot(mark));
    return this.stage.tells.say(this.stage.named(mark));
  }
}
