// Figures in fields of a fixed width: the decimal point stays where it is, whatever the digits.
// Markup: <span class="figure" data-figure="speed.value"><span class="whole"></span><span
// class="rest"></span></span>; plain text goes into any other element with data-text="…".

export class Figures {
  constructor(root = document) {
    this.fields = collect(root, "figure");
    this.texts = collect(root, "text");
  }

  // Put a figure that the bench has already rounded and worded; empty: not known.
  put(name, text) {
    for (const field of this.fields.get(name) ?? []) {
      const shown = text || "–";
      if (field.dataset.shown === shown) continue;
      field.dataset.shown = shown;
      const point = shown.indexOf(".");
      const [whole, rest] = point < 0 ? [shown, ""] : [shown.slice(0, point), shown.slice(point)];
      field.children[0].textContent = whole;
      field.children[1].textContent = rest;
    }
  }

  say(name, text) {
    for (const element of this.texts.get(name) ?? []) {
      if (element.textContent !== text) element.textContent = text;
    }
  }

  // A word for the style sheet: data-is="meets".
  mark(name, word) {
    for (const element of this.texts.get(name) ?? []) {
      if (element.dataset.is !== word) element.dataset.is = word;
    }
  }
}

function collect(root, kind) {
  const found = new Map();
  for (const element of root.querySelectorAll(`[data-${kind}]`)) {
    const name = element.dataset[kind];
    found.set(name, [...(found.get(name) ?? []), element]);
  }
  return found;
}
