/** The stage by keyboard: cross hairs set points, arrows move marks or the picture, letters go from mark to mark. */

import { everyMark } from "./photo_state.js";
import { LOUPE_UNTIL, TOOLS } from "./photo_tools.js";

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

/** @param {import("./photo_state.js").Mark} one @param {import("./photo_state.js").Mark | null} other */
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

  /** @param {import("./photo_state.js").Mark} mark @param {number} dx @param {number} dy @param {boolean} fine */
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
