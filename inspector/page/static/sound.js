// A soft sound for pass and a lower, double one for warn. Off until switched on.

const LOW = [[392, 0], [311, 0.22]];
const NOTES = { pass: [[660, 0]], warn: LOW, under: [], unreadable: LOW };
const LOUDNESS = 0.12;
const LENGTH_S = 0.34;

let context = null;

export function setSound(on) {
  if (on) {
    context ??= new AudioContext();
    context.resume();
  } else {
    context?.suspend();
  }
}

export function sound(verdict) {
  if (context?.state !== "running") return;
  for (const [pitch, after] of NOTES[verdict]) note(pitch, context.currentTime + after);
}

function note(pitch, start) {
  const tone = new OscillatorNode(context, { type: "sine", frequency: pitch });
  const gain = new GainNode(context, { gain: 0 });
  gain.gain.setValueAtTime(0, start);
  gain.gain.linearRampToValueAtTime(LOUDNESS, start + 0.03);
  gain.gain.exponentialRampToValueAtTime(0.0005, start + LENGTH_S);
  tone.connect(gain).connect(context.destination);
  tone.start(start);
  tone.stop(start + LENGTH_S);
}
