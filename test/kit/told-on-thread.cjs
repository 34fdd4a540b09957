/** Loaded by a thread before anything else: lets a test have SQL carried out by the connections that the thread opens. */
const { BroadcastChannel, isMainThread } = require('node:worker_threads');

if (!isMainThread) {
  const sqlite = require('node:sqlite');
  const opened = [];
  sqlite.DatabaseSync = class extends sqlite.DatabaseSync {
    constructor(...given) {
      super(...given);
      opened.push(this);
    }
  };
  const channel = new BroadcastChannel('phaseloom-test-sql');
  channel.onmessage = ({ data: { file, sql } }) => {
    const database = opened.find((one) => one.isOpen && one.location() === file);
if (!database) return;
    database.exec(sql);
    channel.postMessage('done');
  };
  channel.unref();
}
