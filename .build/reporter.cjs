// The spec reporter, with the plain closing line that continuous integration reads.
const Mocha = require('mocha');

module.exports = class extends Mocha.reporters.Spec {
  epilogue() {
    super.epilogue();
    const { passes, failures, pending } = this.stats;
    console.log(`${passes} passed, ${failures} failed${pending ? `, ${pending} skipped` : ''}`);
  }
};
