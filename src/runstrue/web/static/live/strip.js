// The strip chart: the deviation of the tape speed over the last seconds, newest at the right.

import { Drawing, axisText, niceStep } from "./canvas.js";

const KEPT_S = 125; // a little more than the longest stretch on screen
const STEPS_DOWN_AFTER = 60; // drawings for which a finer scale must have sufficed

export class StripChart {
  constructor(canvas) {
    this.seconds = 30;
    this.aboutMean = true;
    this.limits = null; // [low, high] in % or null
    this.curve = "speed"; // or "flutter": through the weighting
    this.rate = 0;
    this.kept = { speed: new Float32Array(0), flutter: new Float32Array(0) };
    this.end = 0; // values ever taken in; the newest stands at (end − 1) % length
    this.lastTime = 0;
    this.half = 0.2;
    this.middle = 0;
    this.patience = 0;
    this.drawing = new Drawing(canvas, (...all) => this.#paint(...all));
  }

  // Take in deviation in % (null where the tone was lost); `from` is the time of the first, in s.
  add(strip) {
    if (!strip || !strip.speed.length) return;
    const gap = strip.from - this.lastTime;
    if (strip.rate !== this.rate || gap < -0.5 / strip.rate - 1) this.clear(strip.rate);
    else if (this.end && gap > 1.5 / this.rate) {
      this.#skip(Math.min(Math.round(gap * this.rate), this.kept.speed.length));
    }
    const { speed, flutter } = this.kept;
    strip.speed.forEach((value, k) => {
      speed[this.end % speed.length] = value ?? NaN;
      flutter[this.end % speed.length] = strip.flutter[k] ?? NaN;
      this.end += 1;
    });
    this.lastTime = strip.from + strip.speed.length / this.rate;
    this.drawing.draw();
  }

  clear(rate = this.rate) {
    this.rate = rate;
    const length = Math.ceil(KEPT_S * (rate || 1));
    this.kept = {
      speed: new Float32Array(length).fill(NaN), flutter: new Float32Array(length).fill(NaN),
    };
    this.end = 0;
    this.drawing.draw();
  }

  show({
    seconds = this.seconds, aboutMean = this.aboutMean, limits = this.limits, curve = this.curve,
  }) {
    Object.assign(this, { seconds, aboutMean, limits, curve });
    this.patience = STEPS_DOWN_AFTER;
    this.drawing.draw();
  }

  #skip(count) {
    const { speed, flutter } = this.kept;
    for (let k = 0; k < count; k += 1, this.end += 1) {
      speed[this.end % speed.length] = flutter[this.end % speed.length] = NaN;
    }
  }

  // Lowest and highest value in each column of the picture, in runs without a loss of the tone.
  #columns(count) {
    const shown = Math.round(this.seconds * this.rate);
    const values = this.kept[this.curve], held = values.length;
    const runs = [];
    let run = null, lowest = Infinity, highest = -Infinity, sum = 0, seen = 0;
    for (let k = Math.max(this.end - shown, this.end - held, 0); k < this.end; k += 1) {
      const value = values[k % held];
      if (value !== value) { run = null; continue; }
      const column = Math.min(count - 1, Math.floor(((k - this.end + shown) / shown) * count));
      if (!run) runs.push(run = []);
      const last = run.at(-1);
      if (last?.column === column) {
        if (value < last.low) last.low = value;
        if (value > last.high) last.high = value;
      } else run.push({ column, low: value, high: value });
      if (value < lowest) lowest = value;
      if (value > highest) highest = value;
      sum += value;
      seen += 1;
    }
    return { runs, lowest, highest, mean: seen ? sum / seen : 0, seen };
  }

  #rescale(columns) {
    if (!columns.seen) return;
    const middle = this.aboutMean && this.curve === "speed" ? columns.mean : 0;
    const reach = Math.max(columns.highest - middle, middle - columns.lowest, 0.04);
    const wanted = niceStep(1.1 * reach);
    const far = Math.abs(middle - this.middle) > 0.25 * this.half;
    if (wanted > this.half || far) this.patience = STEPS_DOWN_AFTER;
    else this.patience = wanted < this.half ? this.patience + 1 : 0;
    if (this.patience >= STEPS_DOWN_AFTER) {
      this.half = wanted;
      this.middle = middle ? Math.round(middle / (wanted / 5)) * (wanted / 5) : 0;
      this.patience = 0;
    }
  }

  #paint(context, width, height, colours, letter) {
    const left = 4.4 * letter, right = width - 8, top = letter * 0.8, bottom = height - 1.9 * letter;
    const columns = this.#columns(Math.max(1, Math.floor(right - left)));
    this.#rescale(columns);
    const y = (value) => top + ((this.middle + this.half - value) / (2 * this.half)) * (bottom - top);
    this.#grid(context, { left, right, top, bottom, y }, colours, letter);
    this.#limits(context, { left, right, top, bottom, y }, colours, letter);
    context.save();
    context.beginPath();
    context.rect(left, top, right - left, bottom - top);
    context.clip();
    context.beginPath();
    for (const run of columns.runs) {
      run.forEach(({ column, low, high }, k) => {
        if (k) context.lineTo(left + column, y(high));
        else context.moveTo(left + column, y(high));
        context.lineTo(left + column, y(low) + 0.5);
      });
    }
    context.strokeStyle = colours.trace;
    context.lineWidth = 1.4;
    context.lineJoin = "round";
    context.stroke();
    context.restore();
    if (!columns.seen) {
      context.fillStyle = colours.soft;
      context.textAlign = "center";
      context.textBaseline = "middle";
      context.fillText("no tone yet", (left + right) / 2, (top + bottom) / 2 - letter);
    }
  }

  #grid(context, { left, right, top, bottom, y }, colours, letter) {
    const step = this.half / 2;
    context.lineWidth = 1;
    context.textBaseline = "middle";
    context.textAlign = "right";
    for (let k = -2; k <= 2; k += 1) {
      const value = this.middle + k * step, at = Math.round(y(value)) + 0.5;
      context.strokeStyle = Math.abs(value) < step / 1e3 ? colours.soft : colours.faint;
      line(context, left, at, right, at);
      context.fillStyle = colours.soft;
      context.fillText(axisText(value, step / 10), left - 6, at);
    }
    context.textBaseline = "alphabetic";
    const every = this.seconds <= 10 ? 2 : this.seconds <= 30 ? 5 : 20;
    for (let ago = 0; ago <= this.seconds; ago += every) {
      const at = Math.round(right - (ago / this.seconds) * (right - left)) + 0.5;
      context.strokeStyle = colours.faint;
      line(context, at, top, at, bottom);
      context.textAlign = ago === 0 ? "right" : "center";
      context.fillStyle = colours.soft;
      if (at - left > letter) {
        context.fillText(ago === 0 ? "now" : `−${ago} s`, at, bottom + 1.4 * letter);
      }
    }
    context.textAlign = "left";
    context.fillText("%", 2, bottom + 1.4 * letter);
  }

  #limits(context, { left, right, top, bottom, y }, colours, letter) {
    if (!this.limits) return;
    context.strokeStyle = colours.limit;
    context.fillStyle = colours.limit;
    context.setLineDash([6, 4]);
    context.lineWidth = 1.5;
    for (const limit of this.limits) {
      if (limit === null) continue;
      const at = y(limit);
      if (at < top || at > bottom) continue;
      line(context, left, at, right, at);
      context.textAlign = "left";
      context.textBaseline = at - top > 2 * letter ? "bottom" : "top";
      context.fillText("limit of the sheet", left + 6, at + (at - top > 2 * letter ? -2 : 3));
    }
    context.setLineDash([]);
  }
}

export function line(context, x1, y1, x2, y2) {
  context.beginPath();
  context.moveTo(x1, y1);
  context.lineTo(x2, y2);
  context.stroke();
}
