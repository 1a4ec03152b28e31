// How much of a visit has been looked at. Pure.

// answers: [{ answer, recorded }] of one group; rest: whether its rest is the same.
export function lookedAt(answers, rest) {
  return answers.filter(({ answer, recorded }) => answer || (rest && recorded)).length;
}

export function said(looked, of) {
  return `${looked} of ${of} looked at`;
}
