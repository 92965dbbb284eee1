// Gathers what the browser's microphone gives into blocks of a twentieth of a second.

class Ear extends AudioWorkletProcessor {
  constructor() {
    super();
    this.frames = Math.round(sampleRate / 20);
    this.first = 0; // of the block being gathered, counted from the first frame heard
    this.filled = 0;
    this.block = null;
  }

  process([input]) {
    if (!input.length) return true;
    const channels = input.length, count = input[0].length;
    if (this.block && this.block.length !== channels) this.send();
    for (let done = 0; done < count; ) {
      this.block ??= Array.from({ length: channels }, () => new Float32Array(this.frames));
      const part = Math.min(count - done, this.frames - this.filled);
      input.forEach((samples, k) => this.block[k].set(samples.subarray(done, done + part), this.filled));
      this.filled += part;
      done += part;
      if (this.filled === this.frames) this.send();
    }
    return true;
  }

  send() {
    if (this.filled) {
      const rows = this.block.map((row) => row.slice(0, this.filled));
      this.port.postMessage({ first: this.first, rows }, rows.map((row) => row.buffer));
      this.first += this.filled;
    }
    this.block = null;
    this.filled = 0;
  }
}

registerProcessor("ear", Ear);
