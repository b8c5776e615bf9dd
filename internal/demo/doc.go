// Package demo holds a portfolio of our own invention and half a year of its
// history, so that a newcomer sees the program at work before there is a plant
// to connect. Nobody and nothing in it exists; the readings are made up by a
// simulation of dust, airflow and people, not taken from any plant.
//
// Three sites: the Quillford Clinic (Europe/London, SI, GBP), the Musikhaus
// Ellernbrück (Europe/Berlin, SI, EUR, night tariff) and the Brindle Fork Print
// Works (America/Chicago, IP, USD, time-of-use tariff); 16 AHUs, 32 banks.
//
// What is to be found where, counted back from now:
//
//	clinic/ahu-1/primary     due soon
//	clinic/ahu-2/primary     due; booked for the next working day
//	clinic/ahu-3/secondary   loading, about two thirds of the way; fan speed typed with most readings
//	clinic/ahu-t1/primary    clean: changed 10 days ago
//	clinic/ahu-t1/secondary  due soon; theatre, healthcare
//	clinic/sf-1/primary      no gauge, judged by time; plant conditions never answered
//	clinic/ef-9              hazardous exhaust: no steps are given
//	hall/ahu-1/primary       neglected: past its limit for weeks, overdue
//	hall/ahu-1/secondary     loads faster since the primary is neglected; due soon
//	hall/ahu-2               fixed speed with a fan curve; belt defect noted
//	hall/ahu-2/secondary     torn bag 11 days ago: falls without a change-out, doubtful
//	hall/ahu-3/primary       wet spike 25 days ago that nobody flagged
//	hall/ahu-4               variable airflow, measured airflow typed with each reading
//	hall/ahu-5/return        unread: archive locked for eight weeks, skips on record
//	works/ahu-11/primary     the change-out before last came late, 45 % beyond the limit
//	works/ahu-11/secondary   trend-fed daily; sensor stuck from 24 to 14 days ago, then mended
//	works/ahu-12/primary     a bouncing needle once
//	works/ahu-12/secondary   due soon
//	works/mau-2/primary      wet spike 18 days ago, flagged as fog
//	works/rtu-7/primary      due
//	works/rtu-8/primary      clean: changed 3 days ago; fixed speed
//	works                    smoke from outside 50 days ago, for six days
//
// All other banks load quietly. AHU-3 is a tag at the clinic and at the hall;
// each has its own channel.
package demo
