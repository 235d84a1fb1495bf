// Speaks what is told, in the browser's own voice: offline voices only, and nothing before a tap allows it.

const AGAIN_S = 300; // the same cause is not spoken again sooner
const spoken = new Map();
let allowed = false;

const voice = () => window.speechSynthesis?.getVoices().find((one) => one.localService && one.lang.startsWith("en"));

export function say(text) {
  const own = allowed && text ? voice() : null;
  if (!own) return;
  const words = new SpeechSynthesisUtterance(text);
  words.voice = own;
  words.lang = own.lang;
  window.speechSynthesis.speak(words);
}

// The most urgent alert that may sound, has words to be spoken and was not spoken lately.
export function sayAlerts(alerts) {
  const now_s = performance.now() / 1000;
  const lately = (key) => now_s - (spoken.get(key) ?? -Infinity) < AGAIN_S;
  const alert = alerts.find((one) => one.phase === "active" && one.audible && one.said && !lately(one.key));
  if (!alert || !allowed) return;
  spoken.set(alert.key, now_s);
  say(alert.said);
}

// A browser without a voice of its own keeps quiet, and says so on the button.
export function voiceButton(button) {
  button.hidden = !window.speechSynthesis;
  button.textContent = "Voice";
  button.title = "alerts spoken by this device";
  button.addEventListener("click", () => {
    allowed = !allowed;
    if (allowed && !voice()) {
      allowed = false;
      button.textContent = "No voice";
      button.title = "this browser has no voice of its own that works offline";
      return;
    }
    button.textContent = allowed ? "Voice on" : "Voice";
    if (allowed) say("voice on");
    else window.speechSynthesis.cancel();
  });
}
