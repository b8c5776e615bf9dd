package webhook

import (
	"fmt"
	"time"

	"clogwise/internal/entry"
	"clogwise/internal/plant"
	"clogwise/internal/points"
)

const (
	// longPast is how far back, in days, an item is taken as it is. What is older is
	// history, which is imported with clogwise import; here it is more likely a
	// wrong year. Common practice, no source.
	longPast = 400

	// mostOfDesign and leastOfDesign bound the airflow an AHU can have, as a share of
	// its design airflow. Common practice, no source.
	mostOfDesign  = 1.6
	leastOfDesign = 0.2
)

// hold keeps out of the trend what chat would ask about: why says what, and is
// empty for the rest. Of a change-out it leaves out the figures in doubt, so that
// it stays unconfirmed until somebody gives them; one of long ago is refused.
func (t *taking) hold(now known, place plant.BankID, body entry.Body, at time.Time, why string) (entry.Body, string, error) {
	old := at.Before(t.now.AddDate(0, 0, -longPast))
	switch b := body.(type) {
	case entry.Reading:
		if why == "" && old {
			why = fmt.Sprintf("at is %s, more than %d days ago: check the year; history is brought in with clogwise import", at.Format(time.RFC3339), longPast)
		}
		if why == "" {
			why = farFromDesign(now, place, b.FlowM3s)
		}
		b.Suspect = b.Suspect || why != ""
		return b, why, nil
	case entry.Swap:
		if old {
			return nil, "", fmt.Errorf("at is %s, more than %d days ago: check the year; history is brought in with clogwise import", at.Format(time.RFC3339), longPast)
		}
		b, why = holdSwap(now, place, b)
		return b, why, nil
	}
	return body, why, nil
}

func holdSwap(now known, place plant.BankID, b entry.Swap) (entry.Swap, string) {
	bank, _ := now.Bank(place)
	why := ""
	if n := bank.Count(); b.Count != nil && n > 0 && *b.Count > 2*n {
		why = fmt.Sprintf("count is %d, the bank holds %d", *b.Count, n)
		b.Count = nil
	}
	if b.CleanPa != nil {
		if doubt := points.Doubt(*b.CleanPa, bank, points.Limit(now.Register, bank)); doubt != "" {
			why = join(why, fmt.Sprintf("clean_pa is %.0f: %s", *b.CleanPa, doubt))
			b.CleanPa = nil
		}
	}
	if far := farFromDesign(now, place, b.FlowM3s); far != "" {
		why = join(why, far)
		b.FlowM3s = nil
	}
	if why != "" {
		why += "; recorded without it, as unconfirmed"
		b.Confirmed = false
	}
	return b, why
}

func join(a, b string) string {
	if a == "" {
		return b
	}
	return a + "; " + b
}

func farFromDesign(now known, place plant.BankID, m3s *float64) string {
	ahu, ok := now.AHU(place.AHU())
	if !ok || m3s == nil || !(ahu.DesignFlowM3s > 0) {
		return ""
	}
	share := *m3s / ahu.DesignFlowM3s
	if share > mostOfDesign || share < leastOfDesign {
		return fmt.Sprintf("flow_m3s is %.3g times the design airflow of %.3g: check the unit and the AHU", share, ahu.DesignFlowM3s)
	}
	return ""
}
