// Says a call: by the browser's own voice where there is one, else by tones. Answers when it is through.
import { aloud, type Call, type Sound } from './calls';

/** A little quicker than talk: moments follow each other closely. */
const RATE = 1.15;
/** Some browsers forget to say that they have ended; no call is longer than this, ms. */
const LONGEST_MS = 9000;

/** Tones of a sound: hertz and seconds each, with short pauses between. The graver, the more and the higher. */
const TONES: Record<Sound, [hertz: number, seconds: number][]> = {
  act: [
    [988, 0.16],
    [988, 0.16],
    [988, 0.16],
  ],
  look: [
    [784, 0.16],
    [784, 0.16],
  ],
  mark: [[523, 0.25]],
  tick: [[659, 0.08]],
};
const PAUSE_S = 0.07;

export class Voice {
  private tones: AudioContext | null = null;

  /** To be called from a press: browsers let no page sound by itself. */
  wake(): void {
    if (!this.tones && typeof AudioContext !== 'undefined') this.tones = new AudioContext();
    void this.tones?.resume();
  }

  /** Whether there is a voice. Some browsers load theirs late: asked anew for each call. */
  get speaks(): boolean {
    return typeof speechSynthesis !== 'undefined' && speechSynthesis.getVoices().length > 0;
  }

  say({ words, sound }: Pick<Call, 'words' | 'sound'>): Promise<void> {
    return this.speaks ? this.speak(aloud(words)) : this.ring(sound);
  }

  hush(): void {
    if (typeof speechSynthesis !== 'undefined') speechSynthesis.cancel();
    void this.tones?.close();
    this.tones = null;
  }

  private speak(words: string): Promise<void> {
    const utterance = new SpeechSynthesisUtterance(words);
    utterance.rate = RATE;
    utterance.lang = 'en';
    return new Promise((through) => {
      const timer = setTimeout(through, LONGEST_MS);
      utterance.onend = utterance.onerror = () => {
        clearTimeout(timer);
        through();
      };
      speechSynthesis.speak(utterance);
    });
  }

  private async ring(sound: Sound): Promise<void> {
    const { tones } = this;
    if (!tones) return;
    let at = tones.currentTime;
    for (const [hertz, seconds] of TONES[sound]) {
      const oscillator = tones.createOscillator();
      const gain = tones.createGain();
      oscillator.frequency.value = hertz;
      // Soft edges: a square edge clicks.
      gain.gain.setValueAtTime(0, at);
      gain.gain.linearRampToValueAtTime(0.5, at + 0.01);
      gain.gain.setValueAtTime(0.5, at + seconds - 0.02);
      gain.gain.linearRampToValueAtTime(0, at + seconds);
      oscillator.connect(gain).connect(tones.destination);
      oscillator.start(at);
      oscillator.stop(at + seconds);
      at += seconds + PAUSE_S;
    }
    const rest = at - tones.currentTime;
    await new Promise((through) => setTimeout(through, rest * 1000));
  }
}
