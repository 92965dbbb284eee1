// A straight scale for one figure: where the sheet allows it to be, where it is, and how sure that
// is. A bar is the 95 % interval of the figure; a thin mark is what moves from moment to moment.

import { Drawing, niceStep } from "./canvas.js";
import { line } from "./strip.js";

export class Scale {
  // `signed`: zero in the middle (speed), or zero at the left (flutter).
  constructor(canvas, { signed }) {
    this.signed = signed;
    this.figure = null; // { raw, within }
    this.moving = null;
    this.limits = null; // [low, high], null on an open side
    this.reach = signed ? 2 : 0.2;
    this.drawing = new Drawing(canvas, (...all) => this.#paint(...all));
  }

  show({ figure = this.figure, moving = this.moving, limits = this.limits }) {
    Object.assign(this, { figure, moving, limits });
    this.drawing.draw();
  }

  #rescale() {
    const limit = Math.max(...(this.limits ?? []).map((one) => Math.abs(one ?? 0)), 0);
    const value = Math.abs(this.figure?.raw ?? 0) + (this.figure?.within ?? 0);
    const wanted = niceStep(Math.max(1.3 * limit, 1.1 * value, this.signed ? 0.5 : 0.1));
    if (wanted > this.reach || Math.max(1.3 * limit, 1.1 * value) < 0.3 * this.reach) {
      this.reach = wanted; // wide apart, so that the scale does not change to and fro
    }
  }

  #paint(context, width, height, colours, letter) {
    this.#rescale();
    const left = 1.6 * letter, right = width - 1.6 * letter, base = height - 1.9 * letter;
    const low = this.signed ? -this.reach : 0;
    const x = (value) =>
      left + ((Math.min(Math.max(value, low), this.reach) - low) / (this.reach - low)) * (right - left);
    this.#allowed(context, { left, right, base, x }, colours, letter);
    this.#ticks(context, { base, x, low }, colours, letter);
    if (this.figure) {
      const { raw, within } = this.figure;
      const a = x(raw - within), b = x(raw + within);
      context.fillStyle = colours.trace;
      context.globalAlpha = 0.35;
      context.fillRect(a, base - 1.35 * letter, Math.max(b - a, 3), 0.9 * letter);
      context.globalAlpha = 1;
      context.fillRect(x(raw) - 2.5, base - 1.7 * letter, 5, 1.6 * letter);
    }
    if (this.moving !== null && this.moving !== undefined) {
      const at = x(this.moving);
      context.fillStyle = colours.second;
      context.beginPath();
      context.moveTo(at, base - 1.75 * letter);
      context.lineTo(at - 0.42 * letter, base - 2.55 * letter);
      context.lineTo(at + 0.42 * letter, base - 2.55 * letter);
      context.fill();
      context.fillRect(at - 0.7, base - 1.8 * letter, 1.4, 1.8 * letter);
    }
  }

  #allowed(context, { left, right, base, x }, colours, letter) {
    if (!this.limits) return;
    const [low, high] = this.limits;
    const a = low === null ? left : x(low), b = high === null ? right : x(high);
    context.fillStyle = colours.inside;
    context.globalAlpha = 0.2;
    context.fillRect(a, base - 0.9 * letter, b - a, 0.9 * letter);
    context.globalAlpha = 1;
    context.strokeStyle = colours.limit;
    context.lineWidth = 2.5;
    for (const [limit, at] of [[low, a], [high, b]]) {
      if (limit !== null) line(context, at, base - 2.1 * letter, at, base + 0.35 * letter);
    }
  }

  #ticks(context, { base, x, low }, colours, letter) {
    const step = this.reach / (this.signed ? 2 : 4);
    context.strokeStyle = colours.soft;
    context.lineWidth = 1.5;
    line(context, x(low), base, x(this.reach), base);
    context.textAlign = "center";
    context.textBaseline = "alphabetic";
    context.fillStyle = colours.soft;
    for (let k = 0; low + k * step <= this.reach * 1.0001; k += 1) {
      const value = low + k * step, at = x(value);
      line(context, at, base, at, base + 0.35 * letter);
      context.fillText(String(Number(value.toPrecision(4))).replace("-", "−"), at, base + 1.6 * letter);
    }
  }
}
