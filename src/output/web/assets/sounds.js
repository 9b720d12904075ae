// The sounds of the bench display, made by the browser: no files. Each differs in rhythm, not only in pitch, so that it is told
// apart in a loud workshop and by people who hear high tones badly.
//
// In: names of sounds. Out: sound, one after the other, never one over another.

/** Tones of each sound: when it begins, how long it lasts (seconds), and its pitch (hertz). */
export const SOUNDS = {
  // one short
  settled: [[0, 0.12, 660]],
  // short, long; rising
  within: [
    [0, 0.12, 880],
    [0.2, 0.4, 1175],
  ],
  // three short, falling
  out: [
    [0, 0.12, 620],
    [0.22, 0.12, 520],
    [0.44, 0.12, 440],
  ],
  // two long and low
  refused: [
    [0, 0.45, 260],
    [0.6, 0.45, 260],
  ],
};
/** Silence between two sounds, in seconds. */
const BETWEEN_S = 0.25;
/** More than this many seconds of sound are not kept waiting: what is old news by then is left out. */
const MOST_WAITING_S = 2.5;
const LOUDNESS = 0.5;
const EDGE_S = 0.012;

/** Puts one sound into an audio context at a time of its clock; gives the time at which it ends. */
export function schedule(context, name, at_s) {
  let end_s = at_s;
  for (const [start_s, for_s, hertz] of SOUNDS[name]) {
    const tone = context.createOscillator();
    const volume = context.createGain();
    const from = at_s + start_s;
    end_s = from + for_s;
    // A triangle carries further than a sine and is gentler than a square.
    tone.type = "triangle";
    tone.frequency.value = hertz;
    volume.gain.setValueAtTime(0, from);
    volume.gain.linearRampToValueAtTime(LOUDNESS, from + EDGE_S);
    volume.gain.setValueAtTime(LOUDNESS, end_s - EDGE_S);
    volume.gain.linearRampToValueAtTime(0, end_s);
    tone.connect(volume).connect(context.destination);
    tone.start(from);
    tone.stop(end_s);
  }
  return end_s;
}

let context = null;
let free_s = 0;

/** Whether the browser lets this page sound: it wants a press or a key first. */
export const maySound = () => navigator.userActivation?.hasBeenActive ?? true;

/** Plays sounds after one another; nothing where the browser does not let the page sound yet. */
export function play(names) {
  if (names.length === 0 || !maySound()) return;
  context ??= new AudioContext();
  if (context.state === "suspended") context.resume().catch(() => {});
  for (const name of names) {
    const at_s = Math.max(context.currentTime + 0.02, free_s);
    if (at_s - context.currentTime > MOST_WAITING_S) continue;
    free_s = schedule(context, name, at_s) + BETWEEN_S;
  }
}
