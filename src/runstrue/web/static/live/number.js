// The number alone, as large as the screen: for a phone beside the deck, or from across the room.

import { Figures } from "./figures.js";
import { fullest } from "./page.js";
import { Stream } from "./stream.js";

const root = document.querySelector("[data-number]");
if (root) {
  const figures = new Figures(root);
  new Stream("/live/events", {
    live: (message) => {
      for (const [name, text] of Object.entries(message.figures)) figures.put(name, text);
      for (const [name, text] of Object.entries(message.texts)) figures.say(name, text);
      const shown = fullest(message.flutter, "10");
      figures.put("flutter.value", message.figures[`flutter${shown}.value`]);
      figures.put("flutter.within", message.figures[`flutter${shown}.within`]);
      figures.say("flutter.over", `over the last ${shown} s`);
      root.dataset.state = message.state;
      root.dataset.latency = (Date.now() - 1000 * message.made).toFixed(1);
    },
    judged: (judged) => {
      for (const name of ["speed", "flutter"]) {
        figures.say(`verdict.${name}`, judged[name].words);
        figures.mark(`verdict.${name}`, judged[name].outcome);
      }
    },
    facts: (facts) => figures.say("deck", facts.deck),
    stopped: () => figures.say("state", "Nothing is being listened to."),
  }, (connected) => {
    root.dataset.connected = connected;
    figures.say("connection", connected ? "" : "No connection to the bench; trying again.");
  });
}
