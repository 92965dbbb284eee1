// A canvas that is sharp on every screen, takes its colours from the page's theme, and draws at
// most once a frame.

const COLOURS = {
  ink: "--ink", soft: "--soft", faint: "--faint", ground: "--ground",
  trace: "--trace", second: "--second", limit: "--limit", inside: "--inside",
};
const SPARE = {
  ink: "#1b1f24", soft: "#5b6570", faint: "#c9ced4", ground: "#ffffff",
  trace: "#123f6d", second: "#c46a10", limit: "#8c1c2b", inside: "#2c6e49",
};

export class Drawing {
  // `paint` is called with (context, width, height, colours, letter) in CSS pixels.
  constructor(canvas, paint) {
    this.canvas = canvas;
    this.paint = paint;
    this.context = canvas.getContext("2d");
    this.asked = false;
    this.width = 0;
    this.height = 0;
    new ResizeObserver(() => this.#resize()).observe(canvas);
    const again = () => { this.colours = null; this.draw(); };
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", again);
    new MutationObserver(again).observe(document.documentElement, { attributes: true });
    this.#resize();
  }

  draw() {
    if (this.asked) return;
    this.asked = true;
    requestAnimationFrame(() => {
      this.asked = false;
      if (!this.width || !this.height) return;
      this.colours ??= this.#themed();
      const context = this.context;
      context.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
      context.clearRect(0, 0, this.width, this.height);
      context.font = `${this.letter}px ${this.family}`;
      this.paint(context, this.width, this.height, this.colours, this.letter);
    });
  }

  #resize() {
    const box = this.canvas.getBoundingClientRect();
    this.ratio = Math.min(window.devicePixelRatio || 1, 3);
    this.width = box.width;
    this.height = box.height;
    this.canvas.width = Math.max(1, Math.round(box.width * this.ratio));
    this.canvas.height = Math.max(1, Math.round(box.height * this.ratio));
    const style = getComputedStyle(this.canvas);
    this.letter = Math.max(12, 0.8 * parseFloat(style.fontSize));
    this.family = style.fontFamily;
    this.draw();
  }

  #themed() {
    const style = getComputedStyle(this.canvas);
    return Object.fromEntries(
      Object.entries(COLOURS).map(([name, own]) => [
        name, style.getPropertyValue(own).trim() || SPARE[name],
      ]),
    );
  }
}

// A number for an axis: no exponent, true minus, no more digits than the step needs.
export function axisText(value, step) {
  const decimals = Math.max(0, Math.ceil(-Math.log10(step) - 1e-9));
  const text = Math.abs(value).toFixed(decimals);
  return value < -step / 1e6 ? `−${text}` : text;
}

// The smallest of 1, 2, 5 × 10ⁿ that is at least `value`.
export function niceStep(value) {
  const power = 10 ** Math.floor(Math.log10(value));
  for (const factor of [1, 2, 5]) {
    if (factor * power >= value * (1 - 1e-9)) return factor * power;
  }
  return 10 * power;
}
