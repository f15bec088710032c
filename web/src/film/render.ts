// An overlay is rendered: frame by frame, each as a PNG of its own, streamed into a zip.
import { openMessages, getTrack } from '../lib/api';
import type { FlightDetail } from '../lib/messages';
import { Past } from '../lib/past';
import { Glide } from '../lib/pen';
import type { Units } from '../lib/units';
import { Overlay } from '../overlay/draw';
import { chartAt, penOf, wordsAt } from '../overlay/moment';
import type { Chart } from '../flight-line/data';
import { nameOf, type Plan } from './frames';
import { Moments } from './moments';
import { Zip } from './zip';

/** Words and layout step as often as on the pages, s. */
const STEP_S = 0.25;
/** So many frames are encoded side by side: the browser does it on threads of its own. */
const SIDE_BY_SIDE = 4;
const POINTS = 8000;

export interface Wanted {
  detail: FlightDetail;
  plan: Plan;
  width: number;
  height: number;
  units: Units;
  /** A canvas in the page, for its colours and type. */
  strip: HTMLCanvasElement;
  put: (bytes: Uint8Array<ArrayBuffer>) => Promise<void> | void;
  progress: (done: number) => void;
  signal: AbortSignal;
}

export async function render(wanted: Wanted): Promise<void> {
  const { detail, plan, width, height, units, strip, put, progress, signal } = wanted;
  const from = plan.at(plan.first);
  const to = plan.at(plan.first + plan.count - 1);
  const past = new Past();
  past.fill(await getTrack(detail.number, null, POINTS));
  const moments = new Moments(await openMessages(detail.number, from, to, signal));
  const zip = new Zip(put, new Date());
  const overlay = new Overlay(strip, width, height);
  const glide = new Glide();
  const surfaces = Array.from({ length: SIDE_BY_SIDE }, () => new OffscreenCanvas(width, height));
  let laid = -Infinity;
  let chart: Chart | null = null;
  let waiting: { frame: number; png: Promise<Blob> }[] = [];
  const write = async (): Promise<void> => {
    const next = waiting[0];
    if (!next) return;
    waiting = waiting.slice(1);
    await zip.add(nameOf(next.frame), new Uint8Array(await (await next.png).arrayBuffer()));
    progress(next.frame - plan.first + 1);
  };
  try {
    for (let n = 0; n < plan.count; n += 1) {
      signal.throwIfAborted();
      const frame = plan.first + n;
      const t_s = plan.at(frame);
      const told = await moments.at(t_s);
      if (!told) throw new Error('The station tells nothing of this part of the flight.');
      if (!chart || t_s - laid >= STEP_S - 1e-6) {
        laid = t_s;
        chart = chartAt(told, past, units);
        const pen = penOf(told.now, chart, glide, units, t_s);
        overlay.set(chart, pen, wordsAt(told, detail.site, units, t_s), '');
      }
      if (waiting.length === SIDE_BY_SIDE) await write();
      const surface = surfaces[n % SIDE_BY_SIDE];
      const ctx = surface?.getContext('2d');
      if (!surface || !ctx) throw new Error('This browser gives no drawing surface of that size.');
      overlay.draw(ctx, penOf(told.now, chart, glide, units, t_s));
      waiting.push({ frame, png: surface.convertToBlob({ type: 'image/png' }) });
    }
    while (waiting.length) await write();
    await zip.close();
  } finally {
    await moments.cancel();
  }
}
