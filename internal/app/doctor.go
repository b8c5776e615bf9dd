package app

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"clogwise/bot/slack"
	"clogwise/internal/plant"
)

// Check is one thing the doctor looked at.
type Check struct {
	What string `json:"what"`
	OK   bool   `json:"ok"`
	Says string `json:"says"` // what was found and, when not OK, what to do
}

// checkWait bounds each look at something outside this process.
const checkWait = 5 * time.Second

// Doctor looks at every part and says what to mend.
func (a *App) Doctor(ctx context.Context) []Check {
	out := []Check{a.checkFolder(), a.checkLedger(ctx), a.checkRegister(ctx), a.checkQueue(ctx), a.checkBacklog(ctx)}
	out = append(out, a.checkTLS(time.Now())...) // certificates run out by the real clock
	return append(out, a.checkChat(ctx)...)
}

func (a *App) checkFolder() Check {
	c := Check{What: "data folder", Says: a.Cfg.Data}
	f, err := os.CreateTemp(filepath.Dir(a.Cfg.Ledger), ".doctor-*")
	if err != nil {
		c.Says = fmt.Sprintf("%s cannot be written to: %v. Give --data another folder, or mend its rights.", a.Cfg.Data, err)
		return c
	}
	name := f.Name()
	if err := f.Close(); err != nil {
		c.Says = err.Error()
		return c
	}
	c.OK = os.Remove(name) == nil
	return c
}

func (a *App) checkLedger(ctx context.Context) Check {
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	if err := a.Store.Check(ctx); err != nil {
		return Check{"ledger", false, err.Error() + ". Restore the last backup (clogwise backup FILE makes them) and keep the damaged file."}
	}
	head, err := a.Store.Head(ctx)
	if err != nil {
		return Check{"ledger", false, err.Error()}
	}
	return Check{"ledger", true, fmt.Sprintf("sound, %d entries", head)}
}

func (a *App) checkRegister(ctx context.Context) Check {
	reg, err := a.View.Register(ctx)
	if err != nil {
		return Check{"register", false, err.Error()}
	}
	if len(reg.Sites()) == 0 {
		return Check{"register", false, "empty. Import one: clogwise import FILE --save"}
	}
	if faults := plant.Validate(reg.Contents()); len(faults) > 0 {
		return Check{"register", false, fmt.Sprintf("%d faults, the first: %v. Mend it and import again.", len(faults), faults[0])}
	}
	return Check{"register", true, fmt.Sprintf("%d sites, %d AHUs, %d banks", len(reg.Sites()), len(reg.AHUs("")), len(reg.Banks("")))}
}

func (a *App) checkQueue(ctx context.Context) Check {
	ctx, cancel := context.WithTimeout(ctx, checkWait)
	defer cancel()
	if err := a.Queue.Ping(ctx); err != nil {
		return Check{"queue", false, fmt.Sprintf("no answer from Redis at %s: %v. Readings are still taken; start Redis or mend the redis setting.", a.Queue.Addr(), err)}
	}
	if a.Cfg.Redis == "" {
		return Check{"queue", true, "inside this process (no redis setting): right for one process, not for several"}
	}
	return Check{"queue", true, "Redis at " + a.Queue.Addr() + " answers"}
}

func (a *App) checkBacklog(ctx context.Context) Check {
	lags, err := a.Store.Lagging(ctx, 1000)
	if err != nil {
		return Check{"forecasts", false, err.Error()}
	}
	if len(lags) > 0 && a.Cfg.Redis == "" {
		return Check{"forecasts", true, fmt.Sprintf("%d banks wait for a recompute; a running worker does it, or clogwise rebuild", len(lags))}
	}
	return Check{"forecasts", true, "up to date with the ledger"}
}

func (a *App) checkChat(ctx context.Context) []Check {
	s := a.Cfg.Slack
	switch {
	case s.BotToken == "" && s.AppToken == "" && s.SigningSecret == "":
		return []Check{{"chat", true, "not connected; the terminal channel serves. README says how to connect one."}}
	case s.BotToken == "":
		return []Check{{"chat", false, "the bot token is missing: set CLOGWISE_SLACK_BOT_TOKEN (xoxb-…, from OAuth & Permissions)"}}
	case !s.Enabled():
		return []Check{{"chat", false, "there is no way in: set CLOGWISE_SLACK_APP_TOKEN (xapp-…, Socket Mode) or CLOGWISE_SLACK_SIGNING_SECRET (Events API over HTTP)"}}
	}
	ctx, cancel := context.WithTimeout(ctx, 4*checkWait)
	defer cancel()
	var channels []string
	if reg, err := a.View.Register(ctx); err == nil {
		for _, site := range reg.Sites() {
			channels = append(channels, site.Channel)
		}
	}
	found := a.slack.Check(ctx, channels...)
	if people, err := a.people(ctx); err == nil {
		found = append(found, a.slack.CheckPeople(ctx, people)...)
	}
	var out []Check
	for _, f := range found {
		says := f.Detail
		if f.Mend != "" {
			says += ". " + f.Mend
		}
		out = append(out, Check{"chat " + f.What, f.OK, says})
	}
	return append(out, a.checkEvents(ctx)...)
}

// checkEvents says whether the Events API finds an answer here: it sends a signed
// check of the address, as the platform does, to the address this machine
// listens on.
func (a *App) checkEvents(ctx context.Context) []Check {
	if a.Cfg.Slack.SigningSecret == "" {
		return nil
	}
	c := Check{What: "chat events over HTTP"}
	if a.Cfg.HTTP.Listen == "" {
		c.Says = "http.listen is empty, so nothing answers at " + EventsPath + ". Set an address."
		return []Check{c}
	}
	address := a.Cfg.HTTP.Scheme() + "://" + a.Cfg.HTTP.Listen + EventsPath
	err := slack.Challenge(ctx, address, string(a.Cfg.Slack.SigningSecret), time.Now())
	switch {
	case err == nil:
		c.OK, c.Says = true, "a signed check of "+address+" was answered. The app's request address must lead there through TLS."
	case errors.Is(err, slack.ErrWrongSecret):
		c.Says = "what answers at " + address + " has another signing secret. Copy it again from Basic Information and start clogwise serve anew."
	default:
		c.OK, c.Says = true, "nothing answers at "+address+" now; clogwise serve does. Run doctor again beside it to prove the signing secret."
	}
	return []Check{c}
}
