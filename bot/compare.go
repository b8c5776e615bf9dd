package bot

import (
	"context"
	"errors"
	"regexp"
	"strings"

	"clogwise/internal/channel"
	"clogwise/internal/ledger"
	"clogwise/internal/phrase"
	"clogwise/internal/plant"
	"clogwise/internal/say"
)

// compare answers which of two items costs less in a bank.
func (e *Engine) compare(ctx context.Context, t *talk, q phrase.Query) (channel.Post, error) {
	banks := t.banksAsked(q)
	if len(banks) != 1 || len(q.Items) < 2 {
		return channel.Post{Text: say.CompareHow(t.in(), t.exampleBank(banks), t.reg, t.unknownCodes())}, nil
	}
	c, err := e.View.Compare(ctx, banks[0], q.Items, e.Now())
	if errors.Is(err, ledger.ErrUnavailable) {
		return channel.Post{}, err
	}
	if err != nil {
		return channel.Post{Text: say.NoComparison(t.in(), err)}, nil
	}
	return channel.Post{Text: say.Compare(banks[0], c, t.reg)}, nil
}

// exampleBank is the bank asked of, else the first of the talk's sites.
func (t *talk) exampleBank(asked []plant.BankID) plant.BankID {
	if len(asked) > 0 {
		return asked[0]
	}
	for _, s := range t.scope.Sites {
		if banks := t.reg.Banks(plant.BankID(s)); len(banks) > 0 {
			return banks[0]
		}
	}
	return ""
}

// itemCode is the form in which reorder codes are typed.
var itemCode = regexp.MustCompile(`^[A-Z][A-Z0-9]*(-[A-Z0-9]+)*$`)

// unknownCodes are words of the message, after its first, that look like reorder
// codes and are neither items nor AHUs of the register.
func (t *talk) unknownCodes() []string {
	var out []string
	for i, w := range strings.Fields(t.m.Text) {
		w = strings.Trim(w, ".,;:?!")
		_, item := t.reg.Item(w)
		if i > 0 && len(w) >= 3 && itemCode.MatchString(w) && !item && len(t.reg.FindAHUs("", w)) == 0 {
			out = append(out, w)
		}
	}
	return out
}
