package worker

import (
	"maps"
	"time"
)

// pace lets so many posts a second through to a channel, and some at once: chat
// platforms take about one a second and answer more with a request to wait.
type pace struct {
	tokens float64
	at     time.Time
}

// full reports whether a channel has rested so long that it need not be remembered.
func (p *pace) full(now time.Time, perSecond, burst float64) bool {
	return p.tokens+now.Sub(p.at).Seconds()*perSecond >= burst
}

// paced is when the next post to a channel may go: in the past if now. All that
// wait come again then. The caller holds mu.
func (d *delivery) paced(lane string) time.Time {
	if d.PerSecond <= 0 {
		return time.Time{}
	}
	now, burst := d.Now(), float64(max(d.Burst, 1))
	p := d.paces[lane]
	if p == nil {
		maps.DeleteFunc(d.paces, func(_ string, p *pace) bool { return p.full(now, d.PerSecond, burst) })
		p = &pace{tokens: burst, at: now}
		d.paces[lane] = p
	}
	p.tokens = min(burst, p.tokens+now.Sub(p.at).Seconds()*d.PerSecond)
	p.at = now
	if p.tokens >= 1 {
		p.tokens--
		return time.Time{}
	}
	return now.Add(time.Duration((1 - p.tokens) / d.PerSecond * float64(time.Second)))
}
