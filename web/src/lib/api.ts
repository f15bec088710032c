// The station's answers over HTTP. Every failure becomes one plain sentence.
import type { FlightDetail, FlightInfo, Problem, SiteInfo, Track } from './messages';

export type FlightRef = number | 'current';

async function get<T>(path: string): Promise<T> {
  let response: Response;
  try {
    response = await fetch(path, { headers: { accept: 'application/json' } });
  } catch {
    throw new Error('The station does not answer. Is it running, and is this device on its network?');
  }
  if (!response.ok) {
    const problem = (await response.json().catch(() => null)) as Problem | null;
    const words = problem ? [problem.error, problem.kept, problem.hint].filter(Boolean).join(' ') : '';
    throw new Error(words || `The station answered ${response.status} to ${path}.`);
  }
  return (await response.json()) as T;
}

export const getSite = (): Promise<SiteInfo> => get('/api/site');
export const getFlights = (): Promise<FlightInfo[]> => get('/api/flights');
export const getFlight = (number: number): Promise<FlightDetail> => get(`/api/flights/${number}`);

export function getTrack(flight: FlightRef, fromS: number | null, most: number): Promise<Track> {
  const from = fromS === null ? '' : `from_s=${fromS}&`;
  return get(`/api/flights/${flight}/track?${from}most=${most}`);
}
