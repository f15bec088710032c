// The station's time in the page. The shortest round trip of the last pings gives the offset: its middle is the
// least wrong (as in NTP's clock filter: Mills, RFC 5905, section 10). Until one has come back, the message that
// travelled least tells.

interface Sample {
  roundTripMs: number;
  offsetS: number;
}

const KEPT = 30;

export class StationClock {
  private samples: Sample[] = [];
  private heardOffsetS: number | null = null;

  /** A ping has come back. */
  pong(sentMs: number, nowMs: number, stationS: number): void {
    const roundTripMs = nowMs - sentMs;
    if (roundTripMs < 0) return;
    this.samples.push({ roundTripMs, offsetS: stationS - (sentMs + roundTripMs / 2) / 1000 });
    if (this.samples.length > KEPT) this.samples.shift();
  }

  /** A message with the station's time has come. */
  heard(nowMs: number, stationS: number): void {
    const offset = stationS - nowMs / 1000;
    this.heardOffsetS = this.heardOffsetS === null ? offset : Math.max(this.heardOffsetS, offset);
  }

  /** Forgets everything: the page's own clock may have stood still while the device slept. */
  reset(): void {
    this.samples = [];
    this.heardOffsetS = null;
  }

  /** Station time now, or `null` before anything was heard. */
  at(nowMs: number): number | null {
    let best: Sample | null = null;
    for (const sample of this.samples) {
      if (!best || sample.roundTripMs <= best.roundTripMs) best = sample;
    }
    const offset = best?.offsetS ?? this.heardOffsetS;
    return offset === null ? null : nowMs / 1000 + offset;
  }
}
