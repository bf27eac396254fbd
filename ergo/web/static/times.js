// One way of reading and writing times, as in notes/times.py: in seconds, or as places in a clip are shown.
import { clockTime, say } from "./words.js";

const TIME = /^(-?)(?:(?:(\d{1,3}):([0-5]\d)|(\d{1,4})):([0-5]\d(?:\.\d{1,6})?)|(\d{1,7}(?:\.\d{0,6})?|\.\d{1,6}))(?: ?s)?$/;

// Nothing written: null; no time: NaN. [s]
export function secondsIn(text) {
  const written = text.trim().replace(",", ".").replace("\u2212", "-");
  if (written === "") return null;
  const found = TIME.exec(written);
  if (!found) return NaN;
  const [hours, minutes, longMinutes, rest, seconds] = found.slice(2).map((part) => Number(part ?? 0));
  const total = 60 * (60 * hours + minutes + longMinutes) + rest + seconds;
  return found[1] ? -total : total;
}

// A place in a clip, to the hundredth where it is no whole second: 0:05, 0:02.1, 1:02:03.
export function timeText(seconds) {
  const hundredths = Math.round(100 * seconds);
  const rest = String(hundredths % 100).padStart(2, "0").replace(/0+$/, "");
  const whole = clockTime(Math.floor(hundredths / 100));
  return rest ? `${whole}${say("number.decimal_mark")}${rest}` : whole;
}
