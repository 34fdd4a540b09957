/** What the route of the job sheet answers. */
import type { Fitness } from '../../../../lib/fitness';
import type { Reference } from '../../../../lib/frame';
import type { Comparison, Identification, Reading, Rotation } from '../../../../lib/records';

export interface SheetAnswer {
  readonly place: {
    readonly id: string;
    readonly name: string;
    readonly viewing: string | null;
    readonly position: { readonly lat: number; readonly lon: number } | null;
    readonly openPoints: readonly {
      readonly id: string;
      readonly left: readonly string[];
      readonly right: readonly string[];
      readonly common: string | null;
    }[];
  };
  readonly network: string;
  readonly from: string;
  readonly to: string;
  readonly job: string;
  readonly frame: {
    readonly id: string;
    readonly revision: string;
    readonly phases: readonly string[];
    readonly sense: 'lead' | 'lag';
    readonly nominalHz: number;
  };
  readonly references: readonly Reference[];
  readonly terminals: readonly { readonly id: string; readonly recorded: string | null }[];
  readonly readings: readonly { readonly reading: Reading; readonly fitness: Omit<Fitness, 'clockErrorUs'> }[];
  readonly hasMore: boolean;
  readonly identifications: readonly Identification[];
  readonly rotations: readonly Rotation[];
  readonly comparisons: readonly Comparison[];
}
