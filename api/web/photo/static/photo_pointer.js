/** Mouse, pen and fingers on the stage: what is pressed, dragged, pinched or turned becomes what a person means. */

/** How far a mark may be from a press to be taken hold of, screen px. */
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
