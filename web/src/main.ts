import '@fontsource-variable/atkinson-hyperlegible-next/wght.css';
import { mount } from 'svelte';
import App from './App.svelte';
import { install } from './lib/install.svelte';
import { settings } from './lib/settings.svelte';
import './style/tokens.css';
import './style/base.css';

// Before the first paint, so that a night page does not flash white.
document.documentElement.dataset['theme'] = settings.theme;
install.begin();
const target = document.getElementById('app');
if (target) {
  mount(App, { target });
  // Only now: if the script fails on its way here, the page still says something.
  document.getElementById('loading')?.remove();
}
