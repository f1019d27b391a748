// The way to the service. Nothing here keeps anything.

/** Thrown when the service cannot be reached, or is not itself. */
export class Offline extends Error {}

/**
 * Sends a request and returns {status, body, version, skew}; skew is how many milliseconds the phone's clock is ahead.
 * whose is the account that the request is made for, null for nobody's: in another's session it is refused (otherSession).
 */
export async function call(whose, method, path, body, headers = {}) {
  const sent = body === undefined ? undefined : JSON.stringify(body);
  // A day's fish may take minutes by a slow phone: a second more for each 1000 characters.
  const gone = new AbortController(), patience = setTimeout(() => gone.abort(), 20_000 + (sent?.length ?? 0));
  let answer, text;
  try {
    answer = await fetch(path, {
      method, headers: { Accept: 'application/json', ...(whose ? { 'Evenrig-Account': whose } : {}), ...(body === undefined ? {} : { 'Content-Type': 'application/json' }), ...headers },
      body: sent, cache: 'no-store', redirect: 'error', signal: gone.signal,
    });
    text = await answer.text();
  } catch {
    throw new Offline();
  } finally {
    clearTimeout(patience);
  }
  const said = Date.parse(answer.headers.get('Date') ?? '');
  return { status: answer.status, body: json(text), version: answer.headers.get('ETag'), skew: Number.isNaN(said) ? null : Date.now() - said, wait: Number(answer.headers.get('Retry-After')) || 0 };
}

/** Whether a request was refused since somebody else has signed in. */
export const otherSession = ({ status, body }) => status === 401 && body?.code === 'session.other';

function json(text) {
  try {
    return JSON.parse(text);
  } catch {
    return null; // another server's page, like a hotel's
  }
}

/** The body of a GET that was answered 200, null when it is not there for us; anything else is like being offline. */
export async function read(whose, path) {
  const { status, body } = await call(whose, 'GET', path);
  if (status === 200) return body;
  if (status === 403 || status === 404) return null;
  throw new Offline();
}

/** Every item of a list that comes in pages of 500; enrolment is another angler's. */
export async function readAll(whose, path, enrolment = null) {
  const items = [];
  for (let after = ''; ;) {
    const page = await read(whose, `${path}?limit=500${after && `&after=${after}`}${enrolment ? `&for=${enrolment}` : ''}`);
    items.push(...(page?.items ?? []));
    if (!page || page.items.length < 500) return items;
    after = page.items.at(-1).id;
  }
}

/** Whose session it is: the account, null for nobody's; throws Offline. */
export async function whoAmI() {
  const { status, body } = await call(null, 'GET', '/v1/me');
  if (status === 200 && body?.id) return body;
  if (status === 401) return null;
  throw new Offline();
}
