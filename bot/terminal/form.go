package terminal

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"strings"

	"clogwise/internal/channel"
)

// filling is a form being filled in, one question after the other.
type filling struct {
	form   channel.Form
	from   channel.Message // who hands it in, and under which id
	values map[string]string
	left   []int // fields still to be asked, by index
}

// open begins to fill in a form.
func (c *Channel) open(ctx context.Context, f channel.Form, from channel.Message) {
	from.Text, from.Mention = "", true
	c.form = &filling{form: f, from: from, values: map[string]string{}}
	for i := range f.Fields {
		c.form.left = append(c.form.left, i)
	}
	c.print(strings.TrimSpace(f.Title + ". " + f.Intro))
	c.print(c.tongue(ctx).Text("Enter or - leaves a line empty; /cancel leaves the form."))
	c.question(ctx)
}

// question asks for the next field.
func (c *Channel) question(ctx context.Context) {
	f := c.form.form.Fields[c.form.left[0]]
	if c.JSON {
		c.mu.Lock()
		defer c.mu.Unlock()
		enc := json.NewEncoder(c.Out)
		enc.SetEscapeHTML(false)
		_ = enc.Encode(map[string]string{"field": f.ID, "label": f.Label, "hint": f.Hint, "value": f.Value})
		return
	}
	text := f.Label
	if f.Hint != "" {
		text += " [" + f.Hint + "]"
	}
	if f.Value != "" {
		text += c.tongue(ctx).Text(" (Enter: %s)", f.Value)
	}
	c.print(text + ":")
}

// fill takes one line as the answer to the field that was asked for.
func (c *Channel) fill(ctx context.Context, h channel.FormHandler, line string) error {
	text := strings.TrimSpace(line)
	if text == "/cancel" {
		c.form = nil
		c.print(c.tongue(ctx).Text("Left the form; nothing was recorded."))
		return nil
	}
	if !c.Prompt && !c.JSON {
		c.print("> " + cmp.Or(text, "-"))
	}
	f := c.form.form.Fields[c.form.left[0]]
	if text == "-" || text == "" {
		text = f.Value
	}
	if f.Must && text == "" {
		c.print(c.tongue(ctx).Text("This one is needed."))
		c.question(ctx)
		return nil
	}
	c.form.values[f.ID] = text
	if c.form.left = c.form.left[1:]; len(c.form.left) > 0 {
		c.question(ctx)
		return nil
	}
	return c.handIn(ctx, h)
}

// handIn submits the form. Fields with faults are asked for again.
func (c *Channel) handIn(ctx context.Context, h channel.FormHandler) error {
	form := c.form
	var faults map[string]string
	err := c.send(ctx, form.from, func() (err error) {
		faults, err = h.SubmitForm(ctx, channel.Submission{From: form.from, Form: form.form.ID, Values: form.values})
		return err
	})
	if err != nil || len(faults) == 0 {
		c.form = nil
		return err
	}
	for i, f := range form.form.Fields {
		if fault := faults[f.ID]; fault != "" {
			form.left = append(form.left, i)
			c.print(fmt.Sprintf("%s: %s", f.Label, fault))
		}
	}
	if len(form.left) == 0 {
		c.form = nil
		return nil
	}
	c.question(ctx)
	return nil
}
