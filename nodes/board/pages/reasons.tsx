/** Why something is not proven, or proven with a reservation, and what would settle it. */
import type { Reason } from '../../../lib/records';

export function Reasons({ reasons }: { readonly reasons: readonly Reason[] }) {
  if (reasons.length === 0) return null;
  return (
    <ul class="reasons">
      {reasons.map((r) => (
        <li key={r.code + r.why}>
          {sentence(r.why)}
          {r.settle ? <span class="settle"> To settle it: {sentence(r.settle)}</span> : null}
        </li>
      ))}
    </ul>
  );
}

const sentence = (text: string): string => (text.endsWith('.') ? text : `${text}.`);
