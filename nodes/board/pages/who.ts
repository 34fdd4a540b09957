/** Who acts; kept in this browser. */
import { effect, signal } from '@preact/signals';

export const me = signal(localStorage.getItem('phaseloom-me') ?? '');
effect(() => localStorage.setItem('phaseloom-me', me.value));
