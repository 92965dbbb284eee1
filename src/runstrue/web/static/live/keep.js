// Keeping a stretch: the form is sent without leaving the page, and what became of it is shown.

const SHORTEST_S = 12; // a reading needs 10 s of tone, and something at both ends of it
const SAME_MS = 3000;

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
    this.wanted = Math.max(seconds, SHORTEST_S);
    this.last.value = `last:${this.wanted}`;
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
    // it is told as the answer to the button, and to all pages: once is enough
    const now = Date.now();
    if (words === this.newest?.words && now - this.newest.at < SAME_MS) return;
    this.newest = { words, at: now };
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
