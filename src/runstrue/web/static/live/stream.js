// Live messages from the bench: one connection, given back while the page is hidden (a browser has
// few of them for one address), taken up again with a backlog when it is looked at.

export class Stream {
  // `handlers`: a function for each kind of message; `told`: called with true or false as the
  // connection comes and goes.
  constructor(address, handlers, told) {
    this.address = address;
    this.handlers = handlers;
    this.told = told;
    document.addEventListener("visibilitychange", () => this.#follow());
    addEventListener("pagehide", () => this.#close());
    addEventListener("pageshow", () => this.#follow());
    this.#follow();
  }

  #follow() {
    if (document.hidden) this.#close();
    else if (!this.source) this.#open();
  }

  #open() {
    const source = new EventSource(this.address);
    this.source = source;
    source.onopen = () => this.told(true);
    source.onerror = () => {
      this.told(false);
      if (source.readyState === EventSource.CLOSED && this.source === source) {
        this.source = null; // refused for good by the browser: try again ourselves
        setTimeout(() => this.#follow(), 2000);
      }
    };
    for (const [kind, handler] of Object.entries(this.handlers)) {
      source.addEventListener(kind, (event) => handler(JSON.parse(event.data)));
    }
  }

  #close() {
    this.source?.close();
    this.source = null;
  }
}
