package desk

import (
	"net/http"
	"time"

	"github.com/gin-gonic/gin"
)

// beat is how often a stream says that it is still there, so that one which
// broke is noticed.
const beat = 20 * time.Second

// follow tells a page of changes as server-sent events, without what changed:
// the page reads itself again.
func (d *Desk) follow(c *gin.Context) error {
	d.live.Add(1)
	defer d.live.Done()
	ctx := c.Request.Context()
	changed := d.Changed(ctx)
	out := http.NewResponseController(c.Writer)
	c.Header("Content-Type", "text/event-stream")
	c.Header("X-Accel-Buffering", "no")
	c.Status(http.StatusOK)
	// The server's time limit is for pages; a stream lasts as long as its reader.
	if err := out.SetWriteDeadline(time.Time{}); err != nil {
		return err
	}
	say := func(text string) bool {
		if _, err := c.Writer.WriteString(text); err != nil {
			return false
		}
		return out.Flush() == nil
	}
	t := time.NewTicker(beat)
	defer t.Stop()
	for text := "retry: 3000\n: following\n\n"; say(text); {
		select {
		case <-ctx.Done():
			return nil
		case <-d.ctx.Done():
			return nil
		case <-changed:
			text = "event: change\ndata: {}\n\n"
		case <-t.C:
			text = ": still here\n\n"
		}
	}
	return nil
}
