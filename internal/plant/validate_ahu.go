package plant

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

func (v *validation) allAHUs() {
	called := map[string]names{} // by site
	for _, id := range sortedKeys(v.c.AHUs) {
		a := v.c.AHUs[id]
		v.at("ahu", string(id))
		site, ahu, bank := id.Split()
		if _, ok := v.sites[site]; !ok {
			v.fault("", "%q is not a site; write one of %s", site, v.siteList())
		}
		if ahu != a.ID || bank != "" {
			v.fault("id", "%q does not fit its place %q; write it as site/ahu", a.ID, id)
		}
		v.ahu(a)
		if called[site] == nil {
			called[site] = names{}
		}
		v.ahuNames(a, called[site])
	}
}

func (v *validation) ahuNames(a AHU, taken names) {
	if other, clash := taken.claim(a.Tag, v.id); clash {
		v.fault("tag", "%q is a name of %s too; give every AHU of a site its own", a.Tag, other)
	}
	for _, n := range a.Aliases {
		if other, clash := taken.claim(n, v.id); clash {
			v.fault("aliases", "%q is a name of %s too; choose another", n, other)
		}
	}
}

func (v *validation) ahu(a AHU) {
	v.slug(a.ID)
	if strings.TrimSpace(a.Tag) == "" {
		v.fault("tag", "missing; write what people type, such as \"AHU-3\"")
	}
	oneOf(v, "kind", a.Kind, "", "supply", "extract", "combined")
	oneOf(v, "fan_control", a.FanControl, FlowHeld, SpeedHeld, FanUnknown)
	if !(a.DesignFlowM3s > 0) || !finite(a.DesignFlowM3s) {
		v.fault("design_flow_m3s", "%v is no airflow; write the design airflow in m³/s, such as 3.0", a.DesignFlowM3s)
	} else if a.DesignFlowM3s > 200 {
		v.fault("design_flow_m3s", "%v m³/s is more than any AHU moves; was it in m³/h (divide by 3600), L/s (by 1000) or cfm (by 2119)?", a.DesignFlowM3s)
	}
	v.within(
		span{"design_hz", a.DesignHz, 0, 120, "Hz"},
		span{"design_system_pa", a.DesignSystemPa, 0, 10000, "Pa"},
		span{"air_temp_c", deref(a.AirTempC, 20), -40, 60, "°C"},
		span{"rh_pct", deref(a.RHPct, 50), 0, 100, "%"})
	v.efficiency(a.Efficiency)
	v.curve("fan_curve", a.FanCurve, false)
	v.profile(a.FlowProfile)
	if a.Schedule != nil {
		v.schedule("schedule", *a.Schedule)
	}
	v.conditions(a)
}

func deref(p *float64, otherwise float64) float64 {
	if p == nil {
		return otherwise
	}
	return *p
}

func (v *validation) efficiency(e Efficiency) {
	for _, part := range []span{
		{field: "overall", value: e.Overall}, {field: "fan", value: e.Fan}, {field: "belt", value: e.Belt},
		{field: "motor", value: e.Motor}, {field: "drive", value: e.Drive},
	} {
		if !(part.value >= 0 && part.value <= 1) {
			v.fault("efficiency."+part.field, "%v is not between 0 and 1; write 62 %% as 0.62", part.value)
		}
	}
	oneOf(v, "efficiency.motor_class", e.MotorClass, "", "IE1", "IE2", "IE3", "IE4", "IE5")
	v.within(span{"efficiency.motor_kw", e.MotorKW, 0, 2000, "kW"})
}

// profileSlack is how far shares typed with two decimals may be from 1.
const profileSlack = 0.011

func (v *validation) profile(p []FlowShare) {
	sum := 0.0
	for i, s := range p {
		field := fmt.Sprintf("flow_profile[%d].", i+1)
		v.within(span{field + "fraction", s.Fraction, 0, 1.2, ""}, span{field + "share", s.Share, 0, 1, ""})
		sum += s.Share
	}
	if len(p) > 0 && !(math.Abs(sum-1) <= profileSlack) {
		v.fault("flow_profile", "shares add to %.3g, not 1; write each as a part of running time", sum)
	}
}

func (v *validation) conditions(a AHU) {
	for _, list := range []struct {
		field string
		cs    []Condition
	}{{"conditions", a.Conditions}, {"not_present", a.NotPresent}} {
		seen := map[Condition]bool{}
		for _, c := range list.cs {
			if !slices.Contains(Conditions[:], c) {
				v.fault(list.field, "%q is unknown; write %s", c, conditionList())
			} else if seen[c] {
				v.fault(list.field, "%q is listed twice; keep one", c)
			}
			seen[c] = true
		}
	}
	for _, c := range a.Conditions {
		if contains(a.NotPresent, c) {
			v.fault("not_present", "%q is in conditions too; keep it in one of the two, and if in doubt in neither", c)
		}
	}
}

func conditionList() string {
	words := make([]string, len(Conditions))
	for i, c := range Conditions {
		words[i] = string(c)
	}
	return choice(words)
}
