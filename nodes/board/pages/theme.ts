/** Light or dark: as the reader's system has it, or as chosen here. */
import { effect, signal } from '@preact/signals';

export const THEMES = ['auto', 'light', 'dark'] as const;

export const theme = signal(localStorage.getItem('phaseloom-theme') ?? 'auto');
effect(() => {
  document.documentElement.dataset.theme = theme.value;
  localStorage.setItem('phaseloom-theme', theme.value);
});

const system = matchMedia('(prefers-color-scheme: dark)');
const isSystemDark = signal(system.matches);
system.addEventListener('change', () => (isSystemDark.value = system.matches));

/** Whether the page is dark now; what is drawn with colours of the page is drawn again when it changes. */
export const isDark = (): boolean => (theme.value === 'auto' ? isSystemDark.value : theme.value === 'dark');
