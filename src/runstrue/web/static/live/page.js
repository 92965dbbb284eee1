// The live page: puts every message of the bench where it belongs.

import { Figures } from "./figures.js";
import { Keeper } from "./keep.js";
import { Levels } from "./levels.js";
import { Scale } from "./scale.js";
import { Sliders } from "./sliders.js";
import { Spectrum } from "./spectrum.js";
import { Stream } from "./stream.js";
import { StripChart } from "./strip.js";

const page = document.querySelector("[data-live]");
if (page) begin(page);

function begin(root) {
  const find = (name) => root.querySelector(`[data-part="${name}"]`);
  const figures = new Figures(root);
  const strip = new StripChart(find("strip"));
  const spectrum = new Spectrum(find("spectrum"));
  const speed = new Scale(find("speed-scale"), { signed: true });
  const flutter = new Scale(find("flutter-scale"), { signed: false });
  const levels = new Levels(find("levels"));
  const keeper = new Keeper(root);
  const sliders = new Sliders(root);
  const state = { limits: { speed: null, flutter: null }, session: null, window: "10", curve: "speed" };

  const drawLimits = () => {
    const { speed: ofSpeed, flutter: ofFlutter } = state.limits;
    speed.show({ limits: ofSpeed });
    flutter.show({ limits: ofFlutter });
    const top = ofFlutter?.[1] ?? null;
    strip.show({
      curve: state.curve,
      limits: state.curve === "speed" ? ofSpeed : top === null ? null : [-top, top],
    });
  };

  const live = (message) => {
    if (message.session !== state.session) {
      if (state.session !== null) strip.clear();
      state.session = message.session;
    }
    for (const [name, text] of Object.entries(message.figures)) figures.put(name, text);
    for (const [name, text] of Object.entries(message.texts)) figures.say(name, text);
    root.dataset.state = message.state;
    const shown = fullest(message.flutter, state.window);
    figures.put("flutter.value", message.figures[`flutter${shown}.value`]);
    figures.put("flutter.within", message.figures[`flutter${shown}.within`]);
    figures.say("flutter.over", `over the last ${shown} s`);
    speed.show({ figure: message.speed });
    flutter.show({ figure: message.flutter[shown] ?? null, moving: message.needle });
    levels.show(message.levels);
    strip.add(message.strip);
    keeper.follow(message.status);
    for (const name of ["source", "safe", "losses"]) figures.say(name, message.status[name]);
    figures.mark("losses", message.status.losses === "none lost" ? "good" : "bad");
    list(find("happenings"), message.status.happenings);
    arrived(root, message);
  };

  new Stream("/live/events", {
    facts: (facts) => {
      state.limits = facts.limits;
      figures.say("deck", facts.deck);
      figures.say("sheet", facts.sheet);
      drawLimits();
      sliders.set(facts.sliders);
    },
    backlog: ({ strip: before }) => { strip.clear(); strip.add(before); },
    live,
    judged: (judged) => verdicts(root, figures, judged),
    spectrum: (message) => {
      spectrum.show(message);
      figures.say("spectrum.over", message.over);
      lines(find("lines"), message.lines);
    },
    kept: (kept) => keeper.kept(kept),
    sliders: (values) => sliders.set(values),
    stopped: () => location.assign("/live"),
  }, (connected) => {
    root.dataset.connected = connected;
    figures.say("connection", connected ? "" : "The bench does not answer; trying again. What was heard is safe on its disk.");
  });

  root.addEventListener("change", ({ target }) => {
    if (target.name === "seconds") strip.show({ seconds: Number(target.value) });
    if (target.name === "about") strip.show({ aboutMean: target.value === "mean" });
    if (target.name === "window") state.window = target.value;
    if (target.name === "curve") { state.curve = target.value; drawLimits(); }
    if (target.name === "seconds") keeper.stretch(Number(target.value));
  });
  root.querySelectorAll("input:checked, select").forEach((one) => {
    one.dispatchEvent(new Event("change", { bubbles: true }));
  });
  find("say")?.addEventListener("click", () => { find("said").textContent = spoken(root); });
}

// The window that was asked for, or the longest shorter one that has its figure already.
export function fullest(windows, wanted) {
  const names = Object.keys(windows).sort((a, b) => Number(b) - Number(a));
  return names.find((name) => Number(name) <= Number(wanted) && windows[name]) ?? wanted;
}

function verdicts(root, figures, judged) {
  for (const name of ["speed", "flutter"]) {
    figures.say(`verdict.${name}`, judged[name].words);
    figures.mark(`verdict.${name}`, judged[name].outcome);
  }
  const rows = root.querySelector('[data-part="verdicts"]');
  const known = JSON.stringify(judged.rows);
  if (!rows || rows.dataset.known === known) return;
  rows.dataset.known = known;
  rows.replaceChildren(...judged.rows.map(({ limit, words, outcome, mark }) => {
    const row = document.createElement("tr");
    row.dataset.is = outcome;
    row.append(cell("th", limit), cell("td", mark), cell("td", words));
    row.firstChild.scope = "row";
    return row;
  }));
}

function lines(body, found) {
  if (!body) return;
  const known = JSON.stringify(found.map(({ text, words, name }) => [text, words, name]));
  if (body.dataset.known === known) return;
  body.dataset.known = known;
  body.replaceChildren(...found.map(({ text, words, name }) => {
    const row = document.createElement("tr");
    row.append(cell("td", text), cell("td", words), cell("td", name));
    return row;
  }));
}

function cell(kind, text) {
  const made = document.createElement(kind);
  made.textContent = text;
  return made;
}

function list(parent, texts) {
  const known = texts.join("\n");
  if (!parent || parent.dataset.known === known) return;
  parent.dataset.known = known;
  parent.replaceChildren(...texts.map((text) => cell("li", text)));
}

// When a number came onto the screen against when its sound arrived: what the bench is tested for.
function arrived(root, message) {
  requestAnimationFrame(() => {
    root.dataset.number = message.number;
    root.dataset.latency = (Date.now() - 1000 * message.made).toFixed(1);
  });
}

// What a screen reader says when it is asked to, rather than twenty times a second.
function spoken(root) {
  const text = (name) => {
    const field = root.querySelector(`[data-figure="${name}"], [data-text="${name}"]`);
    return field?.textContent.trim() || "not known yet";
  };
  return `Speed ${text("speed.value")} per cent, 95 per cent within ${text("speed.within")}; `
    + `${text("verdict.speed")}. Wow and flutter ${text("flutter.value")} per cent, `
    + `95 per cent within ${text("flutter.within")}; ${text("verdict.flutter")}. ${text("state")}`;
}
