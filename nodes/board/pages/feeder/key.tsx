/** What the lines and signs of the drawing mean. */
import { PhaseLine } from './phase-line';

export const TraceKey = ({ phases }: { readonly phases: readonly string[] }) => (
  <ul class="key" aria-label="Lines and signs">
    {phases.map((phase) => (
      <li key={phase}>
        <b>{phase}</b> <PhaseLine phase={phase} phases={phases} />
      </li>
    ))}
    <li>A? and a thin line: not proven</li>
    <li>
      <b>≠</b> or a heavy line: not what the record says
    </li>
    <li>
      <span class="band" aria-hidden="true" /> a crossing is suspected here
    </li>
    <li>✓ corrected by a person</li>
    <li>● read here</li>
    <li>
      <b>!</b> loop or tie contradicted
    </li>
    <li>
      <b class="rank">1</b> where to read next
    </li>
  </ul>
);
