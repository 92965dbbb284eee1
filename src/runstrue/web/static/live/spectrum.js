// The running spectrum: how much the speed varies at each rate, with the names of the parts that
// turn at it, both scales logarithmic.

import { Drawing } from "./canvas.js";
import { line } from "./strip.js";

const LOW_HZ = 0.1, HIGH_HZ = 200, FLOOR = 0.001, TOP = 1;

export class Spectrum {
  constructor(canvas) {
    this.curve = null; // { rates, peaks } in Hz and %
    this.lines = []; // { rate, peak, name }
    this.drawing = new Drawing(canvas, (...all) => this.#paint(...all));
  }

  show(spectrum) {
    this.curve = spectrum;
    this.lines = spectrum ? spectrum.lines : [];
    this.drawing.draw();
  }

  #paint(context, width, height, colours, letter) {
    const left = 4.9 * letter, right = width - 10, top = 2.4 * letter, bottom = height - 1.9 * letter;
    const x = (rate) => left + (Math.log(rate / LOW_HZ) / Math.log(HIGH_HZ / LOW_HZ)) * (right - left);
    const y = (peak) =>
      bottom - (Math.log(Math.max(peak, FLOOR) / FLOOR) / Math.log(TOP / FLOOR)) * (bottom - top);
    this.#grid(context, { left, right, top, bottom, x, y }, colours, letter);
    if (!this.curve) {
      context.fillStyle = colours.soft;
      context.textAlign = "center";
      context.fillText("after about ten seconds of tone", (left + right) / 2, (top + bottom) / 2);
      return;
    }
    const { rates, peaks } = this.curve;
    context.beginPath();
    rates.forEach((rate, k) => {
      const at = Math.min(Math.max(y(peaks[k]), top), bottom);
      if (k) context.lineTo(x(rate), at);
      else context.moveTo(x(rate), at);
    });
    context.strokeStyle = colours.trace;
    context.lineWidth = 1.6;
    context.stroke();
    context.lineTo(x(rates.at(-1) ?? LOW_HZ), bottom);
    context.lineTo(x(rates[0] ?? LOW_HZ), bottom);
    context.globalAlpha = 0.12;
    context.fillStyle = colours.trace;
    context.fill();
    context.globalAlpha = 1;
    this.#names(context, { left, right, top, bottom, x, y }, colours, letter);
  }

  #grid(context, { left, right, top, bottom, x, y }, colours, letter) {
    context.lineWidth = 1;
    context.strokeStyle = colours.faint;
    context.fillStyle = colours.soft;
    context.textBaseline = "alphabetic";
    for (const rate of [0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200]) {
      const at = Math.round(x(rate)) + 0.5;
      line(context, at, top, at, bottom);
      const ends = rate === HIGH_HZ;
      context.textAlign = ends ? "right" : "center";
      if (right - left > 30 * letter || [0.1, 1, 10, 200].includes(rate)) {
        context.fillText(ends ? "200 Hz" : String(rate), at, bottom + 1.4 * letter);
      }
    }
    context.textAlign = "right";
    context.textBaseline = "middle";
    for (const peak of [0.001, 0.01, 0.1, 1]) {
      const at = Math.round(y(peak)) + 0.5;
      line(context, left, at, right, at);
      context.fillText(`${peak} %`, left - 6, at);
    }
  }

  // A tick on every line; names from the strongest down, where they hide no other name.
  #names(context, { left, right, top, x, y }, colours, letter) {
    const taken = [];
    context.textBaseline = "alphabetic";
    const strongest = [...this.lines].sort((a, b) => b.peak - a.peak);
    for (const one of strongest) {
      const at = x(one.rate), peak = Math.max(y(one.peak), top);
      context.strokeStyle = colours.second;
      context.lineWidth = 2;
      line(context, at, peak - 3, at, peak - 0.7 * letter);
      const text = one.name || one.text;
      const half = context.measureText(text).width / 2;
      const middle = Math.min(Math.max(at, left + half), right - half);
      const row = [1, 2.3, 3.6, 4.9].find((up) => {
        const baseline = peak - up * letter;
        return baseline > letter && !taken.some(
          (other) => Math.abs(other.middle - middle) < other.half + half + 6
            && Math.abs(other.baseline - baseline) < 1.2 * letter,
        );
      });
      if (row === undefined) continue;
      const baseline = peak - row * letter;
      taken.push({ middle, half, baseline });
      if (row > 1) {
        context.lineWidth = 1;
        line(context, at, peak - 0.7 * letter, at, baseline + 0.3 * letter);
      }
      context.fillStyle = one.name ? colours.ink : colours.soft;
      context.textAlign = "center";
      context.fillText(text, middle, baseline);
    }
  }
}
