/** Asks for the place and the time of the visit; the answer is an address that can be kept. */
interface Props {
  readonly asked: URLSearchParams;
  readonly error?: string;
}

export function Ask({ asked, error }: Props) {
  const day = new Date().toISOString().slice(0, 10);
  return (
    <main>
      <h1>Job sheet</h1>
      {error && <p class="error">{error}</p>}
      <form>
        <label>
          Site or open point
          <input name="place" required defaultValue={asked.get('place') ?? ''} />
        </label>
        <label>
          From (UTC)
          <input name="from" required defaultValue={asked.get('from') ?? `${day}T00:00:00Z`} />
        </label>
        <label>
          To (UTC)
          <input name="to" required defaultValue={asked.get('to') ?? `${day}T23:59:59Z`} />
        </label>
        <label>
          Visit or work order (optional)
          <input name="job" defaultValue={asked.get('job') ?? ''} />
        </label>
        <button type="submit">Show the sheet</button>
      </form>
    </main>
  );
}
