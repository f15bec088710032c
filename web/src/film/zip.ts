// A zip archive written from front to back, file after file, each stored as it is: PNG does not shrink further. After
// PKWARE's APPNOTE 6.3.10 (from memory; the tests have other programs read it), with the 64-bit fields of its section 4.5.3
// where a size, a place or the number of files needs them.

const MOST_32 = 0xffffffff;
const MOST_16 = 0xffff;

const TABLE = new Uint32Array(256).map((_, n) => {
  let c = n;
  for (let k = 0; k < 8; k += 1) c = c & 1 ? 0xedb88320 ^ (c >>> 1) : c >>> 1;
  return c >>> 0;
});

/** CRC-32/ISO-HDLC, as zip and PNG use it. */
export function crc32(bytes: Uint8Array): number {
  let crc = 0xffffffff;
  for (let i = 0; i < bytes.length; i += 1) {
    crc = (crc >>> 8) ^ (TABLE[(crc ^ (bytes[i] ?? 0)) & 0xff] ?? 0);
  }
  return (crc ^ 0xffffffff) >>> 0;
}

class Fields {
  private readonly bytes: number[] = [];

  u16(value: number): this {
    this.bytes.push(value & 0xff, (value >>> 8) & 0xff);
    return this;
  }
  u32(value: number): this {
    return this.u16(value % 0x10000).u16(Math.floor(value / 0x10000) % 0x10000);
  }
  u64(value: number): this {
    return this.u32(value % 0x100000000).u32(Math.floor(value / 0x100000000));
  }
  raw(bytes: Uint8Array): this {
    for (const byte of bytes) this.bytes.push(byte);
    return this;
  }
  get done(): Uint8Array<ArrayBuffer> {
    return Uint8Array.from(this.bytes);
  }
}

interface Entry {
  name: Uint8Array;
  crc: number;
  size: number;
  at: number;
}

export class Zip {
  private readonly entries: Entry[] = [];
  private at = 0;
  private readonly time: number;
  private readonly date: number;

  /** `put` takes the archive's bytes in order, and may take its time. */
  constructor(
    private readonly put: (bytes: Uint8Array<ArrayBuffer>) => Promise<void> | void,
    when: Date,
  ) {
    this.time = (when.getHours() << 11) | (when.getMinutes() << 5) | (when.getSeconds() >> 1);
    this.date = ((when.getFullYear() - 1980) << 9) | ((when.getMonth() + 1) << 5) | when.getDate();
  }

  /** Adds a file of less than 4 GiB. */
  async add(name: string, bytes: Uint8Array<ArrayBuffer>): Promise<void> {
    const entry = {
      name: new TextEncoder().encode(name),
      crc: crc32(bytes),
      size: bytes.length,
      at: this.at,
    };
    this.entries.push(entry);
    // Names are UTF-8 (bit 11); version 2.0; stored.
    const head = new Fields().u32(0x04034b50).u16(20).u16(0x800).u16(0).u16(this.time).u16(this.date);
    head.u32(entry.crc).u32(entry.size).u32(entry.size).u16(entry.name.length).u16(0).raw(entry.name);
    await this.write(head.done);
    await this.write(bytes);
  }

  /** Writes the list of files, which ends the archive. */
  async close(): Promise<void> {
    const from = this.at;
    for (const { name, crc, size, at } of this.entries) {
      const far = at >= MOST_32;
      const extra = far ? new Fields().u16(1).u16(8).u64(at).done : new Uint8Array(0);
      const head = new Fields()
        .u32(0x02014b50)
        .u16(far ? 45 : 20)
        .u16(far ? 45 : 20)
        .u16(0x800)
        .u16(0);
      head.u16(this.time).u16(this.date).u32(crc).u32(size).u32(size).u16(name.length).u16(extra.length);
      head
        .u16(0)
        .u16(0)
        .u16(0)
        .u32(0)
        .u32(far ? MOST_32 : at)
        .raw(name)
        .raw(extra);
      await this.write(head.done);
    }
    const length = this.at - from;
    const count = this.entries.length;
    if (count >= MOST_16 || from >= MOST_32 || length >= MOST_32) {
      const end = this.at;
      const wide = new Fields().u32(0x06064b50).u64(44).u16(45).u16(45).u32(0).u32(0).u64(count).u64(count);
      wide.u64(length).u64(from).u32(0x07064b50).u32(0).u64(end).u32(1);
      await this.write(wide.done);
    }
    const some = Math.min(count, MOST_16);
    const tail = new Fields().u32(0x06054b50).u16(0).u16(0).u16(some).u16(some);
    await this.write(tail.u32(Math.min(length, MOST_32)).u32(Math.min(from, MOST_32)).u16(0).done);
  }

  private async write(bytes: Uint8Array<ArrayBuffer>): Promise<void> {
    this.at += bytes.length;
    await this.put(bytes);
  }
}
