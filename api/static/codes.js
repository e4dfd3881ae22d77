// What a whole scan looks like: a code with its check character, bare or in an address.
// The rules are those of crib/codes.py.

const ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ";
const SHAPE = /^[AHSLGP][0-9A-Z]{5,}[0-9A-Z]$/;
const ADDRESS = /^https?:\/\/[^/\s]+\/C\/([^/?#\s]+)\/?$/i;

/** Check character of `body` (0-9 A-Z) after ISO/IEC 7064, MOD 37,36; null for other text. */
export function checkCharacter(body) {
  if (!body) return null;
  let product = 36;
  for (const character of body) {
    const value = ALPHABET.indexOf(character);
    if (value < 0) return null;
    product = (((product + value) % 36 || 36) * 2) % 37;
  }
  return ALPHABET[(37 - product) % 36];
}

/** The bare text of a scan: an address HTTPS://HOST/C/CODE loses its host. */
export function stripAddress(text) {
  const trimmed = text.trim();
  return ADDRESS.exec(trimmed)?.[1] ?? trimmed;
}

/** Whether text is a whole code, bare or in an address, its check character included. */
export function isWholeCode(text) {
  const bare = stripAddress(text).toUpperCase();
  return SHAPE.test(bare) && checkCharacter(bare.slice(0, -1)) === bare.at(-1);
}
