package casework

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"slices"

	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// secretBytes make a link that nobody guesses: 256 bits.
const secretBytes = 32

// LinkHolders are those for whom a calendar link may be made.
var LinkHolders = []string{"patient", "coach"}

// NewCalendarLink makes a link to a case's calendar for a patient or coach, and
// gives its secret, which is nowhere else: only its hash is stored. by is the
// name of the person who makes it.
func (o *Office) NewCalendarLink(ctx context.Context, caseID, holder, by string) (secret string, err error) {
	if !slices.Contains(LinkHolders, holder) || by == "" {
		return "", Refuse(ErrInvalid, "value", "", "a calendar link is made by a named person, for the patient or the coach")
	}
	raw := make([]byte, secretBytes)
	rand.Read(raw) // never fails
	secret = base64.RawURLEncoding.EncodeToString(raw)
	err = o.db.Write(ctx, func(tx *store.Tx) error {
		if _, err := tx.Case(caseID); err != nil {
			return noCase(err)
		}
		return tx.AddCalendarLink(store.CalendarLink{
			ID: tx.NewID(), Case: caseID, Hash: secretHash(secret), Holder: holder, Made: tx.Now, MadeBy: by,
		})
	})
	return secret, err
}

// CalendarLinks are the links of a case, working and revoked, the oldest first.
func (o *Office) CalendarLinks(ctx context.Context, caseID string) (out []store.CalendarLink, err error) {
	err = o.db.Read(ctx, func(tx *store.Tx) error {
		if _, err := tx.Case(caseID); err != nil {
			return noCase(err)
		}
		out, err = tx.CalendarLinks(caseID)
		return err
	})
	return out, err
}

// RevokeCalendarLink ends a link for good.
func (o *Office) RevokeCalendarLink(ctx context.Context, caseID, id, by string) error {
	if by == "" {
		return Refuse(ErrInvalid, "value", "", "a calendar link is revoked by a named person")
	}
	return o.db.Write(ctx, func(tx *store.Tx) error {
		err := tx.RevokeCalendarLink(caseID, id, tx.Now, by)
		if errors.Is(err, store.ErrNotFound) {
			return Refuse(ErrNotFound, "not-found", "", "the case has no such calendar link that works")
		}
		return err
	})
}

// LinkedHandout is what the holder of a link's secret is told. A link that was
// revoked and one that never was are refused alike.
func (o *Office) LinkedHandout(ctx context.Context, secret string) (h translate.Handout, err error) {
	err = o.db.Read(ctx, func(tx *store.Tx) error {
		link, err := tx.CalendarLinkOf(secretHash(secret))
		if errors.Is(err, store.ErrNotFound) {
			return Refuse(ErrNotFound, "not-found", "", "there is no such calendar")
		}
		if err != nil {
			return err
		}
		c, err := tx.Case(link.Case)
		if err != nil {
			return noCase(err)
		}
		h, err = o.handout(tx, c)
		return err
	})
	return h, err
}

// secretHash needs no salt and no slow function: the secret has 256 bits.
func secretHash(secret string) []byte {
	sum := sha256.Sum256([]byte(secret))
	return sum[:]
}

func noCase(err error) error {
	if errors.Is(err, store.ErrNotFound) {
		return Refuse(ErrNotFound, "not-found", "", "there is no such case")
	}
	return err
}
