package digest

import (
	"fmt"
	"strings"
	"time"

	"clogwise/internal/channel"
	"clogwise/internal/plant"
	"clogwise/internal/safework"
)

// Occasion is when reminders are looked for.
type Occasion string

// Occasions.
const (
	DayBefore Occasion = "day-before-round"
	Shortly   Occasion = "shortly"
)

// KeyedPost is a post with its once-only key.
type KeyedPost struct {
	Key string
	channel.Post
}

// A Reminder is what is owed for jobs that start together on one AHU.
type Reminder struct {
	When    safework.When
	Jobs    []Job
	Posts   []KeyedPost
	StepIDs []string
}

// Reminders lists what is owed now.
func Reminders(jobs []Job, reg *plant.Register, site plant.Site, steps safework.Catalogue, o Occasion, now time.Time) []Reminder {
	return nil
}

// JobStarted is what is posted when a job begins.
func JobStarted(job Job, reg *plant.Register, site plant.Site, steps safework.Catalogue, now time.Time) []KeyedPost {
	return nil
}

// Booked is what a booking brings with it at once: the hard stop.
func Booked(job Job, reg *plant.Register, site plant.Site, steps safework.Catalogue, now time.Time) []KeyedPost {
	return nil
}

// StepsValue packs the value of a "steps read" button.
func StepsValue(when safework.When, start time.Time, ahu plant.BankID) string {
	return string(when) + "|" + start.UTC().Format(time.RFC3339) + "|" + string(ahu)
}

// ParseStepsValue unpacks StepsValue.
func ParseStepsValue(v string) (safework.When, time.Time, plant.BankID, error) {
	p := strings.Split(v, "|")
	if len(p) != 3 {
		return "", time.Time{}, "", fmt.Errorf("%q is no steps button", v)
	}
	t, err := time.Parse(time.RFC3339, p[1])
	return safework.When(p[0]), t, plant.BankID(p[2]), err
}
