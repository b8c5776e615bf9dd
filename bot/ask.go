package bot

import "context"

// asked takes what is no line of a round: a file of readings, a round to fill in,
// a person's own page, a table for the audit file. Handled is false when it is neither.
func (e *Engine) asked(ctx context.Context, t *talk) (handled bool, err error) {
	for _, try := range []func(context.Context, *talk) (bool, error){e.dropped, e.roundOffered, e.pageAsked, e.tableAsked} {
		if handled, err = try(ctx, t); handled || err != nil {
			return true, err
		}
	}
	return false, nil
}
