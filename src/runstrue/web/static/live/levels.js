// Levels of the channels as bars: what is there now, and the highest of the last two seconds.

import { Drawing } from "./canvas.js";
import { line } from "./strip.js";

const LOW_DB = -60, HOLD_MS = 2000;

export class Levels {
  constructor(canvas) {
    this.channels = [];
    this.held = new Map();
    this.drawing = new Drawing(canvas, (...all) => this.#paint(...all));
  }

  // `channels`: { name, peak, rms } in dB under full scale (null: nothing at all).
  show(channels) {
    this.channels = channels;
    const now = performance.now();
    for (const one of channels) {
      const before = this.held.get(one.name);
      const peak = one.peak ?? LOW_DB;
      if (!before || peak >= before.peak || now - before.at > HOLD_MS) {
        this.held.set(one.name, { peak, at: now });
      }
    }
    this.drawing.draw();
  }

  #paint(context, width, height, colours, letter) {
    const left = 3.4 * letter, right = width - letter, bottom = height - 1.8 * letter;
    const x = (db) => left + ((Math.max(db, LOW_DB) - LOW_DB) / -LOW_DB) * (right - left);
    context.textBaseline = "alphabetic";
    context.textAlign = "center";
    context.lineWidth = 1;
    for (const db of [-60, -40, -20, -10, 0]) {
      const at = Math.round(x(db)) + 0.5;
      context.strokeStyle = db ? colours.faint : colours.limit;
      line(context, at, 0, at, bottom);
      context.fillStyle = colours.soft;
      context.fillText(db ? `−${-db}` : "0 dB", Math.min(at, width - 1.3 * letter), height - 0.4 * letter);
    }
    const row = bottom / Math.max(this.channels.length, 1);
    this.channels.forEach((one, k) => {
      const middle = (k + 0.5) * row, thick = Math.min(0.5 * row, 1.6 * letter);
      context.fillStyle = colours.ink;
      context.textAlign = "left";
      context.textBaseline = "middle";
      context.fillText(one.name, 0, middle);
      context.fillStyle = (one.peak ?? LOW_DB) > -1 ? colours.limit : colours.trace;
      const at = x(one.rms ?? LOW_DB);
      context.fillRect(left, middle - thick / 2, Math.max(at - left, 0), thick);
      context.globalAlpha = 0.35;
      context.fillRect(at, middle - thick / 2, Math.max(x(one.peak ?? LOW_DB) - at, 0), thick);
      context.globalAlpha = 1;
      const held = this.held.get(one.name);
      if (held && held.peak > LOW_DB) context.fillRect(x(held.peak) - 1, middle - thick / 2, 2, thick);
    });
  }
}
