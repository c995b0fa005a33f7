// Package oracle is a second opinion on every date and state of a plan. It is
// written from the rules of the protocol in words, not from the code that
// plans, in the most naive way that could work: it walks day by day and
// instant by instant, looks things up in lists, and is never clever or fast.
// It imports the standard library only, and nothing but tests imports it.
//
// Where the rules in words leave a choice, it is settled here as follows.
//
//   - What a person recorded decides before anything else, also on a step that
//     turns out not to apply. A step in doubt is upcoming until that is settled.
//   - An item that pauses is paused for as long as the case is held, even past
//     its last day.
//   - A step of the preparation is one that no event raised, that opens before
//     the day of surgery and that is not due by discharge or after surgery. Its
//     last day is the day before surgery, unless it is due on the day itself. What
//     is due at a moment of that day, up to the start, has that as its last.
//   - A fixed step is too late when its due day lies before the booking day,
//     whatever its last moment; fixed steps and moments stay on closed days.
//   - A step waits for the steps it follows while these may still be done: not
//     for one that is waived, not needed or in doubt. A step that is repeated
//     waits for its own repetition of the other.
//   - What failed for another date is asked again, but for a request for another
//     date, which was answered.
//   - What is done too early does not count: on a fixed step, on one for this
//     date only that the date opens, and on one that opens with surgery or later,
//     before they open; but the last dose of something taken is a fact. Nor does a
//     round count once people went on to the next.
//   - A record stands where no person says anything, from its own day on; the
//     newest that counts is taken. One that does not count, though it could have
//     for some day since the booking, is shown once before, as a round of its own.
//     It was done for the day that stands if it lies in the window; which record
//     shows what is a part of the plan, as a state is.
//   - A must in doubt is too late if it applies once its last day is over; that is
//     told, and is no reason why the day cannot be met.
//   - What was done for "this date" counts for another start too, unless it is due
//     at a time that is counted from surgery.
//   - A compressed item is due at once, or as soon as it opens, not late.
//   - A case that is held comes no further by the clock alone, nor does one that was
//     when the hour of its operation came (of which only the day is known: its end),
//     until somebody reports; that hour gone by, it is unreported. Until then it is
//     held also with the person in the hospital. One whose person is home closes when nothing is left to do.
//     Musts that an event raised say nothing of whether it is behind.
//   - Someone who arrived is in hospital until somebody says that they left; past
//     the expected hour nothing is counted from discharge.
//   - The days of warning are civil days, before the due or an earlier last day.
//   - What follows another is done on the same day at the soonest. A step that is
//     due so long before another must leave that time, also through a chain. Where
//     any one of several steps opens another, it waits for none of them.
//   - A must that leaves no time for the musts that follow is too late; of those
//     that wait for each other the first is the reason. What is paused is none, and
//     what is only a should in between may be waived, so it makes nothing too late.
//   - An instant is over when it comes, a day when the next one begins.
package oracle
