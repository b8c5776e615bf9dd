package duelist

// plan writes an assignment (candidate day of each job) out for people.
func (p *problem) plan(assigned []int) Plan {
	var out Plan
	var total, separate micros
	for d := range p.days {
		v, cost := p.visitOn(d, assigned)
		if len(v.Jobs) > 0 {
			out.Visits = append(out.Visits, v)
			total += cost
		}
	}
	for i := range p.jobs {
		separate += p.visit + p.isolation + p.jobs[i].cost[p.jobs[i].best]
	}
	out.Cost, out.Separate = p.money(total), p.money(separate)
	return out
}

func (p *problem) visitOn(d int, assigned []int) (Visit, micros) {
	v := Visit{Day: p.days[d].noon(p.loc)}
	cost := p.visit
	units := map[string]bool{}
	for i := range p.jobs {
		t := &p.jobs[i]
		if assigned[i] != d {
			continue
		}
		v.Jobs = append(v.Jobs, Placed{
			Bank: t.Bank, OffBest: int(p.days[d] - t.bestDay), Cost: p.money(t.cost[d]), Booked: t.booked, Late: t.late,
		})
		v.Hours += t.Hours
		cost += t.cost[d]
		units[string(t.Bank.AHU())] = true
	}
	v.AHUs = len(units)
	cost += p.isolation * micros(v.AHUs)
	v.Cost = p.money(cost)
	return v, cost
}
