package app

import (
	"context"
	"time"

	"example.org/countback/services/countback/internal/translate"
)

// catchUps plans open cases again that an earlier protocol planned: what was
// left when the service stopped, and then whenever a protocol is adopted. After
// a failure of the store it goes on where it was.
func (a *App) catchUps(ctx context.Context) error {
	warned := ""
	for {
		if p := a.Office.Protocol(); p.Canonical() != warned {
			a.warn(p)
			warned = p.Canonical()
		}
		again := a.catchUp(ctx)
		retry := time.NewTimer(tickEvery)
		if !again {
			retry.Stop()
		}
		select {
		case <-ctx.Done():
			retry.Stop()
			return nil
		case <-a.Office.Adopted():
			retry.Stop()
		case <-retry.C:
		}
	}
}

// warn tells the operator of steps of a protocol that cannot be done in time for
// some dates of surgery.
func (a *App) warn(p *translate.Protocol) {
	for _, text := range p.Warnings(a.Office.Facility().Calendar) {
		a.log.Warn("a step of the protocol has no time on some dates", "protocol", p.Canonical(), "step", text)
	}
}

// catchUp reports whether it is to be tried again without being asked.
func (a *App) catchUp(ctx context.Context) (again bool) {
	done, err := a.Office.CatchUp(ctx)
	if done.Planned > 0 {
		a.log.Info("open cases planned again by the protocol in force",
			"cases", done.Planned, "protocol", a.Office.Protocol().Canonical())
	}
	if ctx.Err() != nil {
		return false
	}
	if done.Sick != nil {
		a.log.Error("cases that could not be planned by the protocol in force; the timers try them again", "error", done.Sick)
	}
	if err != nil {
		a.log.Error("planning open cases by the protocol in force", "error", err)
	}
	return err != nil
}
