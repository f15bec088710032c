import { describe, expect, it } from 'vitest';
import { abilities, type Found } from './abilities';

const phone: Found = {
  secure: true,
  awake: 'on',
  here: 'off',
  installed: false,
  installOffered: false,
  voice: true,
};
const of = (change: Partial<Found>) =>
  Object.fromEntries(
    abilities({ ...phone, ...change }).map(({ what, is, why }) => [what, `${is} ${why}`.trim()]),
  );

describe('what a device can do', () => {
  it('names HTTPS for each thing that is missing without it, and says that Watch works', () => {
    const plain = of({ secure: false, awake: 'insecure' });
    for (const what of ['Screen', 'Own place', 'App']) expect(plain[what], what).toContain('HTTPS only');
    expect(plain['Connection']).toContain('All of Watch works');
    const secure = of({});
    for (const words of Object.values(secure)) expect(words).not.toContain('HTTPS');
  });

  it('says how to get what is refused', () => {
    expect(of({ here: 'refused' })['Own place']).toContain('allow it');
    expect(of({ awake: 'unable' })['Screen']).toContain('settings');
    expect(of({ voice: false })['Call-outs']).toContain('tones');
    expect(of({ installed: true })['App']).toContain('Installed');
  });
});
