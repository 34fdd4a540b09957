/** A short line in the style of a phase: the letter stands beside it. */
import { phaseStyles } from '../../../../lib/phasor-diagram';

interface Props {
  readonly phase: string;
  readonly phases: readonly string[];
}

export const PhaseLine = ({ phase, phases }: Props) => (
  <svg width="44" height="6" aria-hidden="true">
    <path
      d="M0 3H44"
      fill="none"
      class={`phase-${phases.indexOf(phase)}`}
      stroke-width="3"
      stroke-dasharray={phaseStyles(phases)[phase]?.dash}
    />
  </svg>
);
