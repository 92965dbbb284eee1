// This browser's microphone input as a source: all processing switched off, what the browser made
// of that shown, and the sound sent to the bench block by block.

const WANTED = { echoCancellation: false, noiseSuppression: false, autoGainControl: false };
const WORDS = {
  echoCancellation: "echo cancellation",
  noiseSuppression: "noise suppression",
  autoGainControl: "automatic gain",
};
const BEHIND_BYTES = 4_000_000; // ten seconds of stereo: then the line is too slow, and it is said

export class Ear {
  // `say(text, kind)` shows a sentence (kinds: "good", "doubt", "bad"); `ended()` is called when
  // listening ends, for whatever reason.
  constructor(say, ended) {
    this.say = say;
    this.ended = ended;
  }

  async start(deviceId) {
    if (!navigator.mediaDevices?.getUserMedia || !window.AudioWorkletNode) {
      throw new Error(
        "The browser gives its microphone only to pages of this machine (or over HTTPS): open "
          + "this page on the machine that runs the bench, or use the sound card.",
      );
    }
    const audio = { ...WANTED, channelCount: { ideal: 2 } };
    if (deviceId) audio.deviceId = { exact: deviceId };
    this.stream = await navigator.mediaDevices.getUserMedia({ audio });
    const [track] = this.stream.getAudioTracks();
    const settings = track.getSettings();
    const verdict = looked(settings);
    this.say(verdict.text, verdict.kind);
    if (verdict.kind === "bad") {
      this.stop();
      throw new Error(verdict.text);
    }
    this.context = new AudioContext(settings.sampleRate ? { sampleRate: settings.sampleRate } : {});
    await this.context.audioWorklet.addModule(new URL("./ear-worklet.js", import.meta.url));
    const source = this.context.createMediaStreamSource(this.stream);
    const channels = Math.min(settings.channelCount || 1, 2);
    const ear = new AudioWorkletNode(this.context, "ear", {
      numberOfOutputs: 0, channelCount: channels, channelCountMode: "explicit",
      channelInterpretation: "discrete",
    });
    await this.#connect({ label: track.label, rate: this.context.sampleRate, channels, settings });
    ear.port.onmessage = ({ data }) => this.#send(data);
    track.onended = () => { this.say("The microphone was taken away.", "bad"); this.stop(); };
    source.connect(ear);
    await this.context.resume();
  }

  stop() {
    this.stream?.getTracks().forEach((track) => track.stop());
    this.context?.close().catch(() => {});
    this.socket?.close();
    this.stream = this.context = this.socket = null;
    this.ended();
  }

  #connect(facts) {
    const scheme = location.protocol === "https:" ? "wss" : "ws";
    const token = document.querySelector('[name="_token"]')?.value ?? "";
    const socket = new WebSocket(`${scheme}://${location.host}/live/ear`);
    socket.binaryType = "arraybuffer";
    this.socket = socket;
    return new Promise((resolve, reject) => {
      socket.onopen = () => socket.send(JSON.stringify({ ...facts, token }));
      socket.onmessage = ({ data }) => {
        const answer = JSON.parse(data);
        if (answer.ready) resolve();
        else {
          reject(new Error(answer.refused));
          this.say(answer.refused, "bad");
          this.stop();
        }
      };
      socket.onclose = () => {
        reject(new Error("The bench closed the line."));
        if (this.stream) this.say("The line to the bench was closed; what came before is kept.", "bad");
        this.stop();
      };
    });
  }

  // A block: first frame (float64), channels and frames (uint32 each), then channel by channel.
  #send({ first, rows }) {
    const socket = this.socket;
    if (!socket || socket.readyState !== WebSocket.OPEN) return;
    if (socket.bufferedAmount > BEHIND_BYTES) {
      this.say("The line to the bench is too slow; a stretch was lost and is marked.", "doubt");
      return; // the next block's first frame tells the bench what is missing
    }
    const frames = rows[0].length;
    const message = new ArrayBuffer(16 + 4 * frames * rows.length);
    const view = new DataView(message);
    view.setFloat64(0, first, true);
    view.setUint32(8, rows.length, true);
    view.setUint32(12, frames, true);
    rows.forEach((row, k) => new Float32Array(message, 16 + 4 * k * frames, frames).set(row));
    socket.send(message);
  }
}

// What the browser says of its processing, in one sentence.
export function looked(settings) {
  const on = Object.keys(WANTED).filter((name) => settings[name] === true);
  const silent = Object.keys(WANTED).filter((name) => settings[name] === undefined);
  const facts = `${settings.sampleRate ?? "unknown"} Hz, ${settings.channelCount === 2 ? "two channels" : "one channel"}`;
  if (on.length) {
    return {
      kind: "bad",
      text: `The browser keeps ${on.map((name) => WORDS[name]).join(" and ")} switched on; that `
        + "falsifies every figure. Use the sound card, or another browser.",
    };
  }
  if (silent.length) {
    return {
      kind: "doubt",
      text: `Microphone open: ${facts}. The browser does not say whether `
        + `${silent.map((name) => WORDS[name]).join(" and ")} is off; take the figures with care.`,
    };
  }
  return {
    kind: "good",
    text: `Microphone open: ${facts}; echo cancellation, noise suppression and automatic gain are off.`,
  };
}
