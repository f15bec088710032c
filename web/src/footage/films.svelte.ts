// The films of this browser: files that a person picked, by flight and camera. They are never sent anywhere; other windows
// of the same browser (a projector beside the driver's screen) get them by the browser's own channel.

export interface Film {
  flight: number;
  camera: string;
  file: File;
  url: string;
}

interface Word {
  films?: { flight: number; camera: string; file: File }[];
  asks?: boolean;
}

class Films {
  all = $state.raw<Film[]>([]);
  private readonly channel =
    typeof BroadcastChannel === 'undefined' ? null : new BroadcastChannel('loftwatch.films');

  constructor() {
    if (!this.channel) return;
    this.channel.onmessage = (event: MessageEvent<Word>) => {
      const { films, asks } = event.data;
      if (asks) this.tell();
      for (const film of films ?? []) this.take(film.flight, film.camera, film.file);
    };
    this.channel.postMessage({ asks: true } satisfies Word);
  }

  of(flight: number, camera: string): Film | null {
    return this.all.find((f) => f.flight === flight && f.camera === camera) ?? null;
  }

  /** A person has picked a file. */
  pick(flight: number, camera: string, file: File): void {
    this.take(flight, camera, file);
    this.tell();
  }

  rename(flight: number, from: string, to: string): void {
    this.all = this.all.map((f) => (f.flight === flight && f.camera === from ? { ...f, camera: to } : f));
    this.tell();
  }

  private take(flight: number, camera: string, file: File): void {
    const known = this.of(flight, camera);
    if (known && known.file.name === file.name && known.file.size === file.size) return;
    if (known) URL.revokeObjectURL(known.url);
    const others = this.all.filter((f) => f !== known);
    this.all = [...others, { flight, camera, file, url: URL.createObjectURL(file) }];
  }

  private tell(): void {
    const films = this.all.map(({ flight, camera, file }) => ({ flight, camera, file }));
    if (films.length) this.channel?.postMessage({ films } satisfies Word);
  }
}

export const films = new Films();
