/** What was said last of things and instants: saying it once more would tell nobody anything. */
import { LRUCache } from 'lru-cache';
import type { Judgement as Finding } from '../../lib/records';

/** Things and instants remembered. */
const REMEMBERED = 20_000;

export class LastSaid {
  private readonly ids = new LRUCache<string, string>({ max: REMEMBERED });

  /** Those that differ from what was said last of the same thing and instant; noted as said. @param group what a finding is about that names no terminal */
  news(group: string, findings: readonly Finding[]): readonly Finding[] {
    return findings.filter((finding) =>
      this.isNews(`${(finding as { terminal?: string }).terminal ?? group} ${finding.at}`, finding.id),
    );
  }

  private isNews(about: string, id: string): boolean {
    if (this.ids.get(about) === id) return false;
    this.ids.set(about, id);
    return true;
  }
}
