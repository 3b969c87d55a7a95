/** How the picture lies on the stage: its scale and place. Pixel centres are at whole numbers, as everywhere. */

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
