// What a device can do here, in words, and what is missing where it cannot. Pure.
import type { AwakeState } from '../lib/awake.svelte';
import type { HereState } from '../lib/here.svelte';

export interface Found {
  secure: boolean;
  awake: AwakeState;
  here: HereState;
  installed: boolean;
  installOffered: boolean;
  voice: boolean;
}

export interface Ability {
  what: string;
  is: string;
  why: string;
}

const NEEDS = 'Browsers allow it over HTTPS only: trust this station once, below.';

export function abilities({ secure, awake, here, installed, installOffered, voice }: Found): Ability[] {
  const rows: Ability[] = [];
  const row = (what: string, is: string, why = ''): void => void rows.push({ what, is, why });
  if (secure)
    row('Connection', 'Private.', 'Pages and the crew’s code are encrypted, or do not leave this machine.');
  else
    row(
      'Connection',
      'Open.',
      'Everyone on this network can read it, the crew’s code too. All of Watch works.',
    );

  const AWAKE: Record<AwakeState, [string, string]> = {
    on: ['Kept on', 'while Watch is open.'],
    off: ['Kept on', 'while Watch is open.'],
    insecure: ['Not kept on.', NEEDS],
    unable: ['Not kept on.', 'This browser cannot: lengthen the time in the device’s settings.'],
    refused: ['Not kept on.', 'The browser refused, mostly for a low battery.'],
  };
  row('Screen', ...AWAKE[awake]);

  const HERE: Record<HereState, [string, string]> = {
    off: ['Not shown.', 'Press “Show me” beside the ground on Watch. It stays in this browser.'],
    asking: ['Not known yet.', 'The device is looking.'],
    known: ['Shown', 'on the ground plan. It stays in this browser.'],
    refused: ['Not shown.', 'This browser was told not to: allow it for this page in its settings.'],
    unknown: ['Not known.', 'The device has no position: switch its location on.'],
    insecure: ['Not shown.', NEEDS],
  };
  if (secure) row('Own place', ...HERE[here]);
  else row('Own place', ...HERE.insecure);

  if (installed) row('App', 'Installed.', 'It opens before the station answers.');
  else if (!secure) row('App', 'Cannot be installed.', NEEDS);
  else if (installOffered) row('App', 'Can be installed', 'with the button below.');
  else row('App', 'Can be installed', 'from the browser’s menu: “Install” or “Add to home screen”.');

  if (voice) row('Call-outs', 'By voice,', 'armed by the loudspeaker on Watch.');
  else row('Call-outs', 'By tones:', 'this browser has no voice.');
  return rows;
}
