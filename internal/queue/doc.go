// Package queue carries notices between the processes of one installation over
// Redis: which banks have new entries, who leads, what has fired already, who
// asked what. It carries notices, never truth. Everything in it may be lost
// and is then rebuilt from the ledger by a sweep, so no operation here is a
// substitute for a durable once-only key in the ledger.
//
// # Notices
//
// A [Notice] says "bank B has entries up to N". Each bank has at most one
// notice at any time, in one of these states:
//
//	waiting   on the stream, not handed to a consumer yet
//	working   handed to a consumer, not finished
//	retrying  failed, resting until its next try
//	parked    failed too often; kept for a person to retry or drop
//
// A notice for a bank that already has one raises N and adds nothing. If it
// arrives while the bank is being worked, the bank is queued once more when
// that work ends, so that one bank is worked by one consumer at a time and no
// notice is lost. Delivery is at least once: a consumer that stalls longer
// than [Consumer.ClaimAfter] loses its notices to another, so handlers must be
// idempotent. [Queue.ConsumeMany] works notices of several banks together, which
// saves calls of the server; each still ends by itself.
//
// # Keys
//
// All keys start with the prefix. Keys that one script touches together share
// a hash tag, so the same code runs on a single server, behind Sentinel and on
// a Cluster:
//
//	<prefix>:{notices}:stream   stream  one entry per waiting or worked bank
//	<prefix>:{notices}:place    hash    bank → its stream entry, or "later"
//	<prefix>:{notices}:upto     hash    bank → highest N noticed
//	<prefix>:{notices}:marks    hash    bank → notices received since it was queued
//	<prefix>:{notices}:tries    hash    bank → tries begun without success
//	<prefix>:{notices}:later    zset    bank → time of the next try, Unix ms
//	<prefix>:{notices}:parked   hash    bank → JSON of why
//	<prefix>:lead:{<name>}:lease, :fence   leadership
//	<prefix>:once:<key>         once-only firing
//	<prefix>:rate:<key>         token bucket
//	<prefix>:ask:<conversation> question waiting for an answer
//	<prefix>:wake:<topic>       pub/sub channel
//
// Times inside scripts are the server's, so that replicas with differing
// clocks agree.
package queue
