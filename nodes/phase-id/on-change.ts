/** Which identifications say something else than the last one of their terminal. */
import { LRUCache } from 'lru-cache';
import type { Judgement as Finding } from '../../lib/records';

/** Terminals remembered; the longest untold is forgotten first, and its next identification counts as news. */
const REMEMBERED = 100_000;

export class OnChange {
  private readonly last = new LRUCache<string, string>({ max: REMEMBERED });

  isNews(finding: Finding): boolean {
    if (finding.kind !== 'identification') return true;
    const { terminal, verdict, phase, connection, agreesWithRecord, frame } = finding;
    const says = JSON.stringify([verdict, phase, connection, agreesWithRecord, frame?.revision]);
    const isNews = this.last.get(terminal) !== says;
    this.last.set(terminal, says);
    return isNews;
  }
}
