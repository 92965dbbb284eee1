// Keeping a stretch: the form is sent without leaving the page, and what became of it is shown.

export class Keeper {
  constructor(root) {
    this.form = root.querySelector('[data-part="keep"]');
    this.told = root.querySelector('[data-part="kept"]');
    this.progress = root.querySelector('[data-part="recording"]');
    this.last = root.querySelector('[data-part="keep-last"]');
    this.stop = root.querySelector('[data-part="end-recording"]');
    this.form?.addEventListener("submit", (event) => this.#send(event));
  }

  // The stretch on screen is what the first button keeps.
  stretch(seconds) {
    if (!this.last) return;
    this.last.value = `last:${seconds}`;
    this.wanted = seconds;
  }

  follow(status) {
    if (this.progress && this.progress.textContent !== status.recording) {
      this.progress.textContent = status.recording;
    }
    if (this.stop) this.stop.hidden = !status.recording;
    if (!this.last) return;
    const seconds = Math.min(this.wanted ?? 30, Math.floor(status.held));
    const text = seconds >= 1 ? `Keep the last ${seconds} s` : "Keep the last seconds";
    if (this.last.textContent !== text) this.last.textContent = text;
  }

  kept({ words, lines, link, linkWords, outcome }) {
    if (!this.told) return;
    const box = document.createElement("div");
    box.dataset.is = outcome;
    const say = (kind, text) => {
      const made = document.createElement(kind);
      made.textContent = text;
      box.append(made);
      return made;
    };
    say("p", words);
    for (const text of lines ?? []) say("p", text);
    if (link) say("a", linkWords).href = link;
    this.told.prepend(box);
    while (this.told.children.length > 5) this.told.lastChild.remove();
  }

  async #send(event) {
    event.preventDefault();
    const button = event.submitter;
    const body = new FormData(this.form, button);
    button.disabled = true;
    try {
      const answer = await fetch(this.form.action, {
        method: "POST", body, headers: { Accept: "application/json" },
      });
      const told = await answer.json();
      if (told.words) this.kept(told);
    } catch {
      this.kept({ words: "The bench did not answer; nothing new was kept. Try again.", outcome: "bad" });
    } finally {
      button.disabled = false;
    }
  }
}
