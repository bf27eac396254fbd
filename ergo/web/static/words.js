// The reader's words; figures are filled in as in report/text/words.py.
const catalogue = await (await fetch("/api/words")).json();

export function say(key, figures = {}) {
  return catalogue[key].replace(/\{(\w+)\}/g, (_, name) => figures[name]);
}

export function number(value, digits = 0) {
  if (!Number.isFinite(value)) return say("number.unknown");
  let text = value.toFixed(digits);
  if (Number(text) === 0) text = text.replace("-", "");
  return text.replace("-", "\u2212").replace(".", say("number.decimal_mark"));
}

export function clockTime(seconds) {
  const whole = Math.round(seconds);
  const parts = [Math.floor(whole / 3600), Math.floor((whole % 3600) / 60), whole % 60];
  const [hours, minutes, rest] = parts;
  const end = String(rest).padStart(2, "0");
  return hours ? `${hours}:${String(minutes).padStart(2, "0")}:${end}` : `${minutes}:${end}`;
}
