// The station's answers over HTTP. Every failure becomes one plain sentence.
import type {
  About,
  Act,
  Audits,
  CrewCode,
  CuePlan,
  FiguresForm,
  FiguresWanted,
  Learned,
  VehicleCopy,
  VehicleWanted,
  Deed,
  FileState,
  FlightDetail,
  FlightInfo,
  HindsightTrack,
  Join,
  LogSeen,
  LogWanted,
  Network,
  Prepared,
  Problem,
  RadioFrames,
  RadioGuesses,
  RadioTried,
  RadioTry,
  RemarkWanted,
  SetupText,
  SetupVerdict,
  SetupWanted,
  SiteInfo,
  TakenIn,
  Track,
} from './messages';

export type FlightRef = number | 'current';

/** The station has refused, in its own words. */
export class Refused extends Error {
  constructor(
    words: string,
    readonly status: number,
  ) {
    super(words);
  }
}

async function ask(path: string, init: RequestInit): Promise<Response> {
  let response: Response;
  try {
    response = await fetch(path, init);
  } catch {
    throw new Error('The station does not answer. Is it running, and is this device on its network?');
  }
  if (!response.ok) {
    const problem = (await response.json().catch(() => null)) as Problem | null;
    const words = problem ? [problem.error, problem.kept, problem.hint].filter(Boolean).join(' ') : '';
    throw new Refused(words || `The station answered ${response.status} to ${path}.`, response.status);
  }
  return response;
}

async function get<T>(path: string): Promise<T> {
  const response = await ask(path, { headers: { accept: 'application/json' } });
  return (await response.json()) as T;
}

function post(path: string, body?: unknown): Promise<Response> {
  const json = body === undefined ? {} : { body: JSON.stringify(body) };
  return ask(path, { method: 'POST', headers: { 'content-type': 'application/json' }, ...json });
}

export const getPrepared = (): Promise<Prepared> => get('/api/prepare');
export const getForm = (): Promise<FiguresForm> => get('/api/prepare/figures');
export const getVehicles = (): Promise<VehicleCopy[]> => get('/api/prepare/vehicles');
export const getLearned = (): Promise<Learned[]> => get('/api/prepare/learned');
export const getPlan = (query: string): Promise<CuePlan> => get(`/api/prepare/plan?${query}`);
export const getSite = (): Promise<SiteInfo> => get('/api/site');
export const getFlights = (): Promise<FlightInfo[]> => get('/api/flights');
export const getFlight = (number: number): Promise<FlightDetail> => get(`/api/flights/${number}`);

export function getTrack(flight: FlightRef, fromS: number | null, most: number): Promise<Track> {
  const from = fromS === null ? '' : `from_s=${fromS}&`;
  return get(`/api/flights/${flight}/track?${from}most=${most}`);
}

/** How far the file at that address is; asking begins to make it. */
export function fileState(url: string): Promise<FileState> {
  return get(`${url}${url.includes('?') ? '&' : '?'}progress`);
}

export const getAudits = (url: string): Promise<Audits> => get(url);
/** The path with hindsight: waits while the station computes it. */
export async function getHindsight(flight: number, most: number): Promise<Track> {
  for (;;) {
    const answer = await get<HindsightTrack>(`/api/flights/${flight}/hindsight?most=${most}`);
    if (answer.track) return answer.track;
    await new Promise((again) => setTimeout(again, 1000));
  }
}

/** A part of a flight as the messages that a page would have got, one a line, as fast as the station can. */
export async function openMessages(
  flight: number,
  fromS: number,
  toS: number,
  signal: AbortSignal,
): Promise<ReadableStream<Uint8Array<ArrayBuffer>>> {
  const path = `/api/flights/${flight}/messages?from_s=${fromS.toFixed(3)}&to_s=${toS.toFixed(3)}`;
  const { body } = await ask(path, { signal });
  if (!body) throw new Error('This browser gives no stream of an answer.');
  return body;
}

/** Takes in a flight file of another station. */
export async function takeIn(file: File): Promise<TakenIn> {
  const type = { 'content-type': 'application/octet-stream' };
  return (await (
    await ask('/api/flights/take-in', { method: 'POST', headers: type, body: file })
  ).json()) as TakenIn;
}

/** A log from the vehicle's memory, to be looked at or kept. */
export async function sendLog(flight: number, wanted: LogWanted): Promise<LogSeen> {
  return (await (await post(`/api/flights/${flight}/log`, wanted)).json()) as LogSeen;
}

/** Something about a flight beside its figures. */
export async function remark(flight: number, what: RemarkWanted): Promise<void> {
  await post(`/api/flights/${flight}/remark`, what);
}

/** Begins a show of a flight, or ends the show. */
export async function beginShow(flight: number | null): Promise<void> {
  await post('/api/show', { flight });
}

export const getNetwork = (): Promise<Network> => get('/api/network');
export const getAbout = (): Promise<About> => get('/api/about');
export const getDeeds = (): Promise<Deed[]> => get('/api/crew/log');
export const getCode = (): Promise<CrewCode> => get('/api/crew/code');
export const getSetup = (): Promise<SetupText> => get('/api/setup');

export const getFrames = (): Promise<RadioFrames> => get('/api/radio/frames');
export const getGuesses = (): Promise<RadioGuesses> => get('/api/radio/guess');

/** Tries a text for the setup file on the newest frames; changes nothing. */
export async function tryRadio(wanted: RadioTry): Promise<RadioTried> {
  return (await (await post('/api/radio/try', wanted)).json()) as RadioTried;
}

export async function act(what: Act): Promise<void> {
  await post('/api/act', what);
}

export async function joinCrew(join: Join): Promise<void> {
  await post('/api/crew/join', join);
}

export async function leaveCrew(): Promise<void> {
  await post('/api/crew/leave');
}

export async function newCode(): Promise<CrewCode> {
  return (await (await post('/api/crew/new-code')).json()) as CrewCode;
}

export async function takeForm(wanted: FiguresWanted): Promise<SetupVerdict> {
  return (await (await post('/api/prepare/figures', wanted)).json()) as SetupVerdict;
}

export async function copyVehicle(wanted: VehicleWanted): Promise<SetupVerdict> {
  return (await (await post('/api/prepare/vehicles', wanted)).json()) as SetupVerdict;
}

export async function checkSetup(wanted: SetupWanted): Promise<SetupVerdict> {
  return (await (await post('/api/setup/check', wanted)).json()) as SetupVerdict;
}

export async function takeSetup(wanted: SetupWanted): Promise<SetupVerdict> {
  return (await (await post('/api/setup', wanted)).json()) as SetupVerdict;
}
