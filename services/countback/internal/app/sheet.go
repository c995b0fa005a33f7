package app

import (
	"context"
	"fmt"
	"io"
	"strings"

	"example.org/countback/pkg/calendar"
	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/sheet"
)

// sheetOptions adds what the settings say of the hospital.
func (c *Config) sheetOptions(o sheet.Options, today calendar.Date) sheet.Options {
	open, closed, _ := strings.Cut(c.Phone, ",")
	o.Hospital, o.Phone, o.OnCall, o.PrintedOn = c.Hospital, strings.TrimSpace(open), strings.TrimSpace(closed), today
	return o
}

// printSheet writes the patient's sheet of the only case.
func printSheet(ctx context.Context, office *casework.Office, plans []casework.Planned, o sheet.Options, out io.Writer) error {
	if len(plans) != 1 {
		return fmt.Errorf("a sheet is printed for one case, and these files open %d", len(plans))
	}
	h, err := office.Handout(ctx, plans[0].CarePlan.ID)
	if err != nil {
		return err
	}
	sentences, err := sheet.Load()
	if err != nil {
		return err
	}
	page, err := sentences.Page(h, o)
	if err != nil {
		return err
	}
	return page.WriteHTML(out)
}
