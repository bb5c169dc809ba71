// Reads a set aloud with the voices of the reader's own device; the button appears only where there are any.
const button = document.getElementById("aloud");
const text = document.getElementById("aloud-text").textContent;
const speech = window.speechSynthesis;

function show() {
  if (speech && speech.getVoices().length) button.hidden = false;
}

function say(reading) {
  button.textContent = reading ? "Stop reading" : "Read aloud";
  button.setAttribute("aria-pressed", String(reading));
}

if (speech) {
  show();
  speech.addEventListener("voiceschanged", show);
  button.addEventListener("click", () => {
    if (speech.speaking) {
      speech.cancel();
      say(false);
      return;
    }
    // Long texts are cut off by some engines: one utterance a sentence.
    const sentences = text.match(/[^.]+\.+/g) ?? [text];
    sentences.forEach((sentence, place) => {
      const spoken = new SpeechSynthesisUtterance(sentence.trim());
      spoken.lang = "en";
      if (place === sentences.length - 1) spoken.onend = () => say(false);
      speech.speak(spoken);
    });
    say(true);
  });
  addEventListener("pagehide", () => speech.cancel());
}
