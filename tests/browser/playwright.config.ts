import { defineConfig } from '@playwright/test';

// The browser is the system's own Chromium: nothing is downloaded.
export default defineConfig({
  testDir: '.',
  outputDir: '../out/browser',
  timeout: 180_000,
  expect: { timeout: 15_000 },
  workers: 1,
  retries: 0,
  reporter: [['list']],
  use: {
    launchOptions: {
      executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium',
      args: [
        '--no-sandbox',
        '--disable-gpu',
        '--disable-quic',
        '--no-first-run',
        '--disable-background-networking',
        '--disable-component-update',
        '--disable-sync',
      ],
    },
    actionTimeout: 15_000,
    trace: 'off',
    video: 'off',
    screenshot: 'only-on-failure',
  },
  projects: [
    { name: 'test', testMatch: /cases\/.*\.spec\.ts/ },
    { name: 'measure', testMatch: /measure\/.*\.spec\.ts/ },
    { name: 'soak', testMatch: /soak\/.*\.spec\.ts/ },
    { name: 'pictures', testMatch: /pictures\/.*\.spec\.ts/ },
  ],
});
