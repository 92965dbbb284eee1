// The virtual deck's faults under one's fingers; what is moved is sent at most ten times a second.

const APART_MS = 100;

export class Sliders {
  constructor(root) {
    this.form = root.querySelector('[data-part="sliders"]');
    this.timer = null;
    this.form?.addEventListener("input", ({ target }) => this.#moved(target));
    this.form?.addEventListener("submit", (event) => { event.preventDefault(); this.#send(); });
    this.form?.querySelectorAll("input[type=range]").forEach((one) => this.#label(one));
  }

  // Values from the bench: another page may have moved a slider.
  set(values) {
    if (!this.form || !values) return;
    for (const [name, value] of Object.entries(values)) {
      const slider = this.form.elements[name];
      if (!slider || slider === document.activeElement) continue;
      slider.value = value;
      this.#label(slider);
    }
  }

  #moved(slider) {
    this.#label(slider);
    this.timer ??= setTimeout(() => { this.timer = null; this.#send(); }, APART_MS);
  }

  #label(slider) {
    const output = this.form.querySelector(`output[for="${slider.id}"]`);
    if (!output) return;
    const decimals = (slider.step.split(".")[1] ?? "").length;
    const value = Number(slider.value);
    const sign = value < 0 ? "−" : slider.min < 0 && value > 0 ? "+" : "";
    output.textContent = `${sign}${Math.abs(value).toFixed(decimals)} ${slider.dataset.unit}`.trim();
    slider.setAttribute("aria-valuetext", output.textContent);
  }

  #send() {
    fetch(this.form.action, { method: "POST", body: new FormData(this.form), headers: { Accept: "application/json" } })
      .catch(() => {}); // the next movement tries again; the line's state is told elsewhere
  }
}
