// Taps by wet and cold fingers: what is no finger's deliberate press is passed over, and what was saved is felt and heard.

const shortest = 60; // ms; rain and a sleeve touch for less. Common practice, no source.

let down = 0, begun = 0, several = false;

addEventListener('pointerdown', (e) => {
  if (e.pointerType === 'mouse') return;
  if (e.isPrimary) down = 0; // the first finger: none that went unnoticed is still there
  several = down > 0;
  if (down++ === 0) begun = e.timeStamp;
}, true);
for (const kind of ['pointerup', 'pointercancel']) {
  addEventListener(kind, (e) => {
    if (e.pointerType !== 'mouse') down = Math.max(0, down - 1);
  }, true);
}

let acted = -Infinity; // when something was last done

const settle = 600; // ms in which a finger's second touch would hit whatever the first has brought

// One place, before any button hears of it: a touch that was too short, one of several at once, or the echo of the one
// that has just done something, is no click.
addEventListener('click', (e) => {
  if (e.pointerType !== 'touch' && e.pointerType !== 'pen') return;
  const stray = several || e.timeStamp - begun < shortest || e.timeStamp - acted < settle;
  if (!stray) return;
  e.stopPropagation();
  e.preventDefault();
}, true);

const pressed = new Map();

/** Wraps what a button does so that a second press of it, or of its group, within pause ms does nothing, however it comes. */
export function once(act, pause = 900, group = null) {
  return (e) => {
    const name = group ?? e.currentTarget?.dataset.key;
    if (e.timeStamp - (pressed.get(name) ?? -Infinity) < pause) return;
    pressed.set(name, e.timeStamp);
    acted = e.timeStamp;
    return act(e);
  };
}

let sound = null;

/** Says by vibration and sound that something is saved; loud, that something must be done. */
export function feel(kind = 'saved') {
  navigator.vibrate?.(kind === 'loud' ? [400, 150, 400, 150, 400] : 60);
  try {
    sound ??= new AudioContext();
    sound.resume(); // a phone that slept has stopped it
    const start = sound.currentTime, notes = kind === 'loud' ? [880, 660, 880, 660] : [520];
    notes.forEach((pitch, i) => {
      const tone = sound.createOscillator(), volume = sound.createGain();
      tone.frequency.value = pitch;
      volume.gain.setValueAtTime(kind === 'loud' ? 0.4 : 0.15, start + i * 0.25);
      volume.gain.exponentialRampToValueAtTime(0.001, start + i * 0.25 + 0.22);
      tone.connect(volume).connect(sound.destination);
      tone.start(start + i * 0.25);
      tone.stop(start + i * 0.25 + 0.24);
    });
  } catch { /* a phone without sound */ }
}
