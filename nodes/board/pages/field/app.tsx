/** The frame of the field page: what is under way, whether it is sent, and the caution that always stands. */
import { EntryForm } from './entry-form';
import { unkept } from './kept';
import { NextPlaces } from './next-places';
import { refused, sendTrouble, waiting } from './outbox';
import { aheadMs, network, pack, packTrouble } from './pack';
import { PlaceFinder } from './place-finder';
import { Setup } from './setup';
import { SoFar } from './so-far';
import { StepList } from './step-list';
import { goTo, place, sheetAddress, takeAway, unstated } from './visit';

/** The front door takes stamps up to 5 s ahead of its own clock. */
const AHEAD_LIMIT_MS = 4000;

export function FieldApp() {
  return (
    <>
      <header>
        <h1>Field entry</h1>
        <SendState />
      </header>
      <main>
        <Troubles />
        {network.value ? <Visit /> : pack.value === null && <p>{packTrouble.value || 'Asking the board.'}</p>}
      </main>
      <footer>
        Evidence from readings. Not a voltage detector: it does not replace testing for absence of voltage, earthing,
        switching orders, local rules or the judgement of qualified people, and permits nothing.
      </footer>
    </>
  );
}

function Visit() {
  if (!place.value) {
    return (
      <>
        <PlaceFinder />
        <NextPlaces />
        <Setup />
      </>
    );
  }
  return (
    <>
      <div class="place">
        <h2>{place.value.id}</h2>
        <button type="button" class="plain" onClick={() => goTo(null)}>
          Other place
        </button>
      </div>
      {unstated.value.length > 0 ? (
        <p class="note">Still to state below: {unstated.value.join(', ')}.</p>
      ) : (
        <EntryForm />
      )}
      <SoFar />
      <StepList />
      <button type="button" class="again" onClick={() => goTo(place.value)}>
        Begin again here
      </button>
      {sheetAddress.value && (
        <a class="sheet" href={sheetAddress.value}>
          Job sheet of this visit
        </a>
      )}
      <Setup />
    </>
  );
}

function SendState() {
  const count = waiting.value.length;
  const words = count === 0 ? 'all sent' : `${count} to be sent`;
  return (
    <p class="send" role="status">
      {words}
      {count > 0 && sendTrouble.value ? `: ${sendTrouble.value}` : ''}
    </p>
  );
}

function Troubles() {
  return (
    <>
      {unkept.value.has('outbox') && (
        <p class="error">This browser keeps nothing: what is not sent is lost when the page is closed.</p>
      )}
      {unkept.value.has('pack') && (
        <p class="note">This browser cannot keep the network: open the page while there is a connection.</p>
      )}
      {pack.value && packTrouble.value && (
        <p class="note">No connection: the network and frame are those last kept. Entries are kept and sent later.</p>
      )}
      {aheadMs.value > AHEAD_LIMIT_MS && (
        <p class="error">
          The clock of this phone is {Math.round(aheadMs.value / 1000)} s ahead of the board: set it, or readings are
          refused.
        </p>
      )}
      {pack.value && !pack.value.canEnter && (
        <p class="error">
          No node “readings in” works with the same ledger node as this board: entries cannot be stored yet.
        </p>
      )}
      {refused.value.map(({ reading, problems }) => (
        <div class="error" key={reading.id}>
          Refused: {reading.terminal}: {problems.join('; ')}
          <button type="button" class="plain" onClick={() => takeAway(reading.id)}>
            Take away
          </button>
        </div>
      ))}
    </>
  );
}
