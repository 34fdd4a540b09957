import { angleErrorDeg, timeErrorUs } from '../../../lib/timing';
import { csv } from '../data';
import type { CheckRow } from '../rows';

export const title = 'Clock error and angle';

const published: CheckRow[] = [
  {
    what: '1 us at 60 Hz, degrees',
    source: 'IEEE C37.118.1a-2014 4.3 (public page): 0.022',
    confidence: 'high',
    expected: 0.022,
    got: () => angleErrorDeg(1, 60),
    tolerance: 5e-4,
  },
  {
    what: '1 us at 50 Hz, degrees',
    source: 'IEEE C37.118.1a-2014 4.3 (public page): 0.018',
    confidence: 'high',
    expected: 0.018,
    got: () => angleErrorDeg(1, 50),
    tolerance: 5e-4,
  },
  {
    what: '1 % TVE from angle alone (0.01 rad) at 60 Hz, us',
    source: 'IEEE C37.118.1a-2014 4.3 prints 26, truncated',
    confidence: 'high',
    expected: 26.526,
    got: () => timeErrorUs(0.01 * (180 / Math.PI), 60),
    tolerance: 1e-3,
  },
  {
    what: '1 % TVE from angle alone (0.01 rad) at 50 Hz, us',
    source: 'IEEE C37.118.1a-2014 4.3 prints 31, truncated',
    confidence: 'high',
    expected: 31.831,
    got: () => timeErrorUs(0.01 * (180 / Math.PI), 50),
    tolerance: 1e-3,
  },
];

const angles = csv('clock_angle.csv').map(
  (r): CheckRow => ({
    what: `${r.label} at ${r.f_hz} Hz, degrees`,
    source: 'formula 360 f dt',
    confidence: 'high',
    expected: Number(r.angle_deg),
    got: () => angleErrorDeg(Number(r.dt_s) * 1e6, Number(r.f_hz)),
    tolerance: Math.max(1e-12, Number(r.angle_deg) * 1e-9),
  }),
);

const times = csv('angle_to_time.csv').map(
  (r): CheckRow => ({
    what: `${r.angle_deg} degrees at ${r.f_hz} Hz (${r.label}), us`,
    source: 'formula angle / (360 f)',
    confidence: 'high',
    expected: Number(r.time_us),
    got: () => timeErrorUs(Number(r.angle_deg), Number(r.f_hz)),
    tolerance: 6e-4,
  }),
);

export const rows: readonly CheckRow[] = [...published, ...angles, ...times];
