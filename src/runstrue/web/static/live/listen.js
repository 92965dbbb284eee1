// The page that is the ear: begins and ends listening with this browser's microphone.

import { Ear } from "./ear.js";

const begin = document.querySelector('[data-part="ear-start"]');
if (begin) {
  const end = document.querySelector('[data-part="ear-stop"]');
  const told = document.querySelector('[data-part="ear-told"]');
  const select = document.querySelector('[data-part="ear-input"]');
  const say = (text, kind) => { told.textContent = text; told.dataset.is = kind; };
  const ear = new Ear(say, () => shown(false));
  const leaving = (event) => event.preventDefault();

  const shown = (listening) => {
    begin.hidden = listening;
    end.hidden = !listening;
    if (listening) addEventListener("beforeunload", leaving);
    else removeEventListener("beforeunload", leaving);
  };

  begin.addEventListener("click", async () => {
    begin.disabled = true;
    say("Asking the browser for its microphone …", "");
    try {
      await ear.start(select.value);
      shown(true);
      inputs(select);
    } catch (error) {
      say(worded(error), "bad");
      ear.stop();
    }
    begin.disabled = false;
  });
  end.addEventListener("click", () => { ear.stop(); say("Stopped.", ""); });
  shown(false);
  inputs(select);
}

function worded(error) {
  if (error.name === "NotAllowedError") {
    return "The browser was not allowed to use its microphone: allow it for this page, then begin again.";
  }
  if (error.name === "NotFoundError") return "The browser knows no microphone or line input.";
  return error.message;
}

// Names are given once the microphone was allowed.
async function inputs(select) {
  if (!navigator.mediaDevices?.enumerateDevices) return;
  const chosen = select.value;
  const found = await navigator.mediaDevices.enumerateDevices();
  const named = found.filter((one) => one.kind === "audioinput" && one.label);
  select.replaceChildren(new Option("the browser's own choice", ""));
  for (const { deviceId, label } of named) {
    if (deviceId) select.append(new Option(label, deviceId, false, deviceId === chosen));
  }
}
