package webhook

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"time"

	"clogwise/bot/webhook/wire"
	"clogwise/internal/entry"
)

// maxItemsEver keeps an item's index within the six digits of its source.
const maxItemsEver = 100_000

// sourceOf is the once-only key of an item, for good: by its own id, else by the
// event it came in, else by its place in the request's webhook-id, else by what
// it says happened when. What has none of these could not be told from its own
// resend: a reading then counts once a minute for one value, and a change-out,
// which would close a filter life twice, is refused.
//
// A lineage's sources begin "hook:LINEAGE:" and differ after it by the word of
// their basis, so that no id can be made to look like another's.
func sourceOf(line, kind, webhookID string, i int, p wire.Parsed, now time.Time) (string, error) {
	base := "hook:" + line + ":"
	switch {
	case p.ID != "":
		return base + "item:" + p.ID, nil
	case p.Once != "":
		return base + "event:" + p.Once, nil
	case webhookID != "":
		return fmt.Sprintf("%smsg:%s:%06d", base, webhookID, i), nil
	case p.At == nil && kind == kindSwap:
		return "", errors.New("no identity: give at or id, or send a webhook-id header, so that a resend is not taken for a second change-out")
	}
	said := p.Item
	if said.At == nil {
		minute := now.Truncate(time.Minute)
		said.At = &minute
	}
	utc := said.At.UTC()
	said.At = &utc
	raw, err := json.Marshal(said)
	if err != nil {
		return "", fmt.Errorf("item: %w", err)
	}
	sum := sha256.Sum256(append([]byte(kind+" "), raw...))
	return base + "said:" + hex.EncodeToString(sum[:16]), nil
}

// sameSaid reports whether a recorded entry says what an item with the same
// once-only key says now. What follows from the register is left out, since it
// may have been edited between the two; so are a point's bank, what other points
// told of the air, and the time of an item that gave none. What was kept aside
// and is mapped by now is the same too.
func sameSaid(old, fresh entry.Entry, it wire.Item) bool {
	if kept, ok := old.Body.(entry.Sample); ok && old.Place == entry.Aside(it.Point) {
		kept.Sites = nil // the key's then
		return (it.At == nil || old.At.Equal(fresh.At)) && reflect.DeepEqual(kept, sampleOf(it))
	}
	if old.Kind != fresh.Kind || it.Bank != "" && old.Place != fresh.Place || it.At != nil && !old.At.Equal(fresh.At) {
		return false
	}
	return reflect.DeepEqual(bare(old.Body, it), bare(fresh.Body, it))
}

// bare is a body without what the register added to it.
func bare(b entry.Body, it wire.Item) entry.Body {
	switch b := b.(type) {
	case entry.Reading:
		b.StepPa, b.Suspect = 0, false
		if it.FlowM3s == nil && it.FanHz == nil && it.FanPct == nil { // other points told
			b.FlowM3s, b.FanHz, b.FanPct = nil, nil, nil
		}
		return b
	case entry.OverRange:
		if it.Pa == nil && it.Value == nil {
			b.TopPa = 0
		}
		if it.FlowM3s == nil && it.FanHz == nil && it.FanPct == nil {
			b.FlowM3s, b.FanHz, b.FanPct = nil, nil, nil
		}
		return b
	}
	return b
}
