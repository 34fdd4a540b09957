/** The clock of the database server, by which claims and retries are due: workers whose clocks differ agree on it. */
import type { Pool } from 'pg';

const MEASURED_EVERY_MS = 60_000;

export class ServerClock {
  private offsetUs = 0;
  private timer: NodeJS.Timeout | undefined;

  constructor(private readonly ownUs: () => number) {}

  async start(pool: Pool): Promise<void> {
    await this.measure(pool);
    this.timer = setInterval(() => void this.measure(pool).catch(() => undefined), MEASURED_EVERY_MS);
    this.timer.unref();
  }

  stop(): void {
    clearInterval(this.timer);
  }

  nowUs(): number {
    return Math.round(this.ownUs() + this.offsetUs);
  }

  /** Right to half the time the question took. */
  private async measure(pool: Pool): Promise<void> {
    const askedUs = this.ownUs();
    const { rows } = await pool.query<{ now_us: string }>(
      'select (extract(epoch from clock_timestamp()) * 1e6)::bigint as now_us',
    );
    this.offsetUs = Number(rows[0]!.now_us) - (askedUs + this.ownUs()) / 2;
  }
}
