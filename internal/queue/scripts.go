package queue

import (
	"context"
	"strings"

	"github.com/redis/go-redis/v9"
)

// prelude begins every notice script. All of them take the same KEYS, in the
// order of the first line, and the consumer group as ARGV[1].
const prelude = `
local stream, place, upto, marks, tries, later, parked = unpack(KEYS)
local group = ARGV[1]

local function now_ms()
  local t = redis.call('TIME')
  return tonumber(t[1]) * 1000 + math.floor(tonumber(t[2]) / 1000)
end

-- enqueue puts the bank on the stream and remembers where; alone if it is not
-- to be worked together with others.
local function enqueue(bank, alone)
  local n = redis.call('HGET', upto, bank) or '0'
  local id
  if alone then
    id = redis.call('XADD', stream, '*', 'bank', bank, 'upto', n, 'alone', '1')
  else
    id = redis.call('XADD', stream, '*', 'bank', bank, 'upto', n)
  end
  redis.call('HSET', place, bank, id)
  return id
end

-- settle takes an entry off the stream for good.
local function settle(id)
  redis.call('XACK', stream, group, id)
  redis.call('XDEL', stream, id)
end

-- forget removes what is known of banks, except that they are parked.
local function forget(...)
  redis.call('HDEL', place, ...)
  redis.call('HDEL', upto, ...)
  redis.call('HDEL', marks, ...)
  redis.call('HDEL', tries, ...)
end

-- noticed tells whether the bank has a notice that waits, rests or is worked.
-- The place is checked and not trusted: a bank whose entry was deleted by hand
-- would otherwise never be queued again.
local function noticed(bank)
  local at = redis.call('HGET', place, bank)
  if not at then return false end
  if at == 'later' then return redis.call('ZSCORE', later, bank) and true or false end
  return #redis.call('XRANGE', stream, at, at) == 1
end

-- mark raises what is known of banks, which is in known, to their N, and counts
-- the notice. All banks of a call get the same count, one that no call before had.
local function mark(banks, ns, known)
  local count, raised, marked = redis.call('HINCRBY', marks, '', 1), {}, {}
  for i, bank in ipairs(banks) do
    marked[#marked + 1], marked[#marked + 2] = bank, count
    if not known[i] or tonumber(known[i]) < tonumber(ns[i]) then
      raised[#raised + 1], raised[#raised + 2] = bank, ns[i]
    end
  end
  redis.call('HSET', marks, unpack(marked))
  if #raised > 0 then redis.call('HSET', upto, unpack(raised)) end
end

-- owns tells whether the entry is handed to this consumer and to no other.
local function owns(consumer, id)
  local p = redis.pcall('XPENDING', stream, group, id, id, 1)
  return not p.err and #p == 1 and p[1][2] == consumer
end

-- park takes the bank off the stream and keeps it for a person.
local function park(bank, id, why)
  settle(id)
  redis.call('HSET', parked, bank, cjson.encode({
    upto = redis.call('HGET', upto, bank) or '0',
    tries = redis.call('HGET', tries, bank) or '0',
    error = why,
    at = string.format('%.0f', now_ms())}))
  forget(bank)
end
`

func noticeScript(body string) *redis.Script { return redis.NewScript(prelude + body) }

// notify records notices of banks, each named once.
//
//	ARGV[2]   '1' to look for each bank's entry on the stream, '0' to believe that
//	          it is where it was put as long as there is a stream: to look costs
//	          more than all the rest
//	ARGV[3…]  bank, N, bank, N, …
//	result    how many banks were put on the stream
//
// A parked bank stays parked until a notice says more than was parked, so that
// a sweep does not feed a bank that always fails to the workers for ever.
var notifyScript = noticeScript(`
local look = ARGV[2] == '1' or redis.call('EXISTS', stream) == 0
local asked, ns = {}, {}
for i = 3, #ARGV, 2 do
  asked[#asked + 1], ns[#ns + 1] = ARGV[i], ARGV[i + 1]
end

local at, recs = redis.call('HMGET', place, unpack(asked)), {}
if redis.call('HLEN', parked) > 0 then recs = redis.call('HMGET', parked, unpack(asked)) end
local banks, upTo, new = {}, {}, {}
for i, bank in ipairs(asked) do
  local there = at[i]
  if there and (look or there == 'later') then there = noticed(bank) end
  local rec = not there and recs[i]
  if not (rec and tonumber(ns[i]) <= tonumber(cjson.decode(rec).upto)) then
    banks[#banks + 1], upTo[#upTo + 1] = bank, ns[i]
    if not there then new[#new + 1] = {bank, rec} end
  end
end
if #banks == 0 then return 0 end
mark(banks, upTo, redis.call('HMGET', upto, unpack(banks)))
for _, n in ipairs(new) do enqueue(n[1], n[2]) end
return #new`)

// begin starts a try of each entry.
//
//	ARGV[2, 3]  consumer, most tries
//	ARGV[4…]    entry id, bank, N as in the entry, entry id, …
//	result      four texts for each entry:
//	            'go', N, marks, tries to work it;
//	            'gone', '', '', '' when it is another's by now or obsolete;
//	            'parked', '', '', '' when its tries are used up
//
// Tries are counted here and not on failure, so that a notice that kills its
// worker is parked as well.
var beginScript = noticeScript(`
local consumer, most = ARGV[2], tonumber(ARGV[3])
local ids, banks, ns = {}, {}, {}
for i = 4, #ARGV, 3 do
  ids[#ids + 1], banks[#banks + 1], ns[#ns + 1] = ARGV[i], ARGV[i + 1], ARGV[i + 2]
end

-- The entries of a group lie side by side: most are seen at once, the others asked
-- for one by one.
local ours = {}
local p = redis.pcall('XPENDING', stream, group, ids[1], ids[#ids], 2 * #ids, consumer)
if not p.err then
  for _, x in ipairs(p) do ours[x[1]] = true end
end

local at, known = redis.call('HMGET', place, unpack(banks)), redis.call('HMGET', upto, unpack(banks))
local seen, tried = redis.call('HMGET', marks, unpack(banks)), redis.call('HMGET', tries, unpack(banks))
local begun = {}

local function begin(i)
  local id, bank = ids[i], banks[i]
  if not ours[id] and not owns(consumer, id) then return 'gone', '', '', '' end
  if at[i] ~= id then
    if at[i] and noticed(bank) then
      settle(id)
      return 'gone', '', '', ''
    end
    redis.call('HSET', place, bank, id)
  end
  if not known[i] then
    redis.call('HSET', upto, bank, ns[i])
    known[i] = ns[i]
  end
  local try = tonumber(tried[i] or '0') + 1
  if try > most then
    park(bank, id, 'the worker stopped each time while working on it')
    return 'parked', '', '', ''
  end
  begun[#begun + 1], begun[#begun + 2] = bank, try
  return 'go', known[i], seen[i] or '0', tostring(try)
end

local out = {}
for i = 1, #ids do
  local k = #out
  out[k + 1], out[k + 2], out[k + 3], out[k + 4] = begin(i)
end
if #begun > 0 then redis.call('HSET', tries, unpack(begun)) end
return out`)

// done ends tries that succeeded.
//
//	ARGV[2…]  entry id, bank, marks as begin told them, entry id, …
//	result    for each, 1 finished, 2 queued again because a notice came
//	          meanwhile, 0 nothing to do: the entry was lost or finished by
//	          another
//
// An entry that is not the bank's is left alone: after a flush within the same
// millisecond its id may be that of another bank's.
var doneScript = noticeScript(`
local out, ids, banks, seen = {}, {}, {}, {}
for i = 2, #ARGV, 3 do
  out[#out + 1], ids[#ids + 1], banks[#banks + 1], seen[#seen + 1] = 0, ARGV[i], ARGV[i + 1], ARGV[i + 2]
end

local at, nth, own, ours = redis.call('HMGET', place, unpack(banks)), {}, {}, {}
for i, id in ipairs(ids) do
  if at[i] == id then nth[#nth + 1], own[#own + 1], ours[#ours + 1] = i, id, banks[i] end
end
if #own == 0 then return out end
redis.call('XACK', stream, group, unpack(own))
redis.call('XDEL', stream, unpack(own))
redis.call('HDEL', parked, unpack(ours))
redis.call('HDEL', tries, unpack(ours))

local count, over = redis.call('HMGET', marks, unpack(ours)), {}
for k, bank in ipairs(ours) do
  if (count[k] or '0') ~= seen[nth[k]] then
    enqueue(bank)
    out[nth[k]] = 2
  else
    over[#over + 1] = bank
    out[nth[k]] = 1
  end
end
if #over > 0 then forget(unpack(over)) end
return out`)

// fail ends a try that failed.
//
//	ARGV[2…7]  consumer, entry id, bank, error, most tries, rest in ms
//	result     'retrying', 'parked', or 'gone' as in begin
var failScript = noticeScript(`
local consumer, id, bank, why, most, rest = ARGV[2], ARGV[3], ARGV[4], ARGV[5], tonumber(ARGV[6]), tonumber(ARGV[7])
if not owns(consumer, id) or redis.call('HGET', place, bank) ~= id then return 'gone' end
if tonumber(redis.call('HGET', tries, bank) or '0') >= most then
  park(bank, id, why)
  return 'parked'
end
settle(id)
redis.call('ZADD', later, string.format('%.0f', now_ms() + rest), bank)
redis.call('HSET', place, bank, 'later')
return 'retrying'`)

// release gives an entry back, as a consumer that stops does.
//
//	ARGV[2…5]  consumer, entry id, bank, '1' if its try had begun
//	result     1 queued again, 0 when it was another's by now
var releaseScript = noticeScript(`
local consumer, id, bank, begun = ARGV[2], ARGV[3], ARGV[4], ARGV[5]
if not owns(consumer, id) then return 0 end
settle(id)
local at = redis.call('HGET', place, bank)
if at and at ~= id then return 0 end
if begun == '1' then redis.call('HINCRBY', tries, bank, -1) end
enqueue(bank, tonumber(redis.call('HGET', tries, bank) or '0') > 0)
return 1`)

// promote puts banks whose rest is over back on the stream.
//
//	ARGV[2]  how many at most
//	result   how many
var promoteScript = noticeScript(`
local due = redis.call('ZRANGEBYSCORE', later, '-inf', string.format('%.0f', now_ms()), 'LIMIT', 0, ARGV[2])
for _, bank in ipairs(due) do
  redis.call('ZREM', later, bank)
  if redis.call('HGET', place, bank) == 'later' then enqueue(bank, true) end
end
return #due`)

// beat keeps entries that are being worked from being claimed by others.
//
//	ARGV[2…]  consumer, entry ids
//	result    the ids that are this consumer's no more
var beatScript = noticeScript(`
local lost = {}
for i = 3, #ARGV do
  if owns(ARGV[2], ARGV[i]) then
    redis.call('XCLAIM', stream, group, ARGV[2], 0, ARGV[i], 'JUSTID')
  else
    lost[#lost + 1] = ARGV[i]
  end
end
return lost`)

// leave removes a consumer from the group, unless entries are still handed to
// it: removing it would lose them.
//
//	ARGV[2]  consumer
//	result   1 removed, 0 kept
var leaveScript = noticeScript(`
local p = redis.pcall('XPENDING', stream, group, '-', '+', 1, ARGV[2])
if p.err or #p > 0 then return 0 end
redis.call('XGROUP', 'DELCONSUMER', stream, group, ARGV[2])
return 1`)

// unpark queues a parked bank with all its tries before it.
//
//	ARGV[2]  bank
//	result   1, or 0 when it is not parked
var unparkScript = noticeScript(`
local bank = ARGV[2]
local rec = redis.call('HGET', parked, bank)
if not rec then return 0 end
redis.call('HDEL', parked, bank)
redis.call('HDEL', tries, bank)
mark({bank}, {cjson.decode(rec).upto}, redis.call('HMGET', upto, bank))
if not noticed(bank) then enqueue(bank, true) end
return 1`)

// depth counts.
//
//	result  {on the stream, of them worked, retrying, parked,
//	         id of the oldest entry or '', server time in ms}
var depthScript = noticeScript(`
local p = redis.pcall('XPENDING', stream, group)
local oldest = redis.call('XRANGE', stream, '-', '+', 'COUNT', 1)
return {
  redis.call('XLEN', stream),
  p.err and 0 or p[1],
  redis.call('ZCARD', later),
  redis.call('HLEN', parked),
  #oldest == 1 and oldest[1][1] or '',
  now_ms()}`)

// run runs a notice script.
func (q *Queue) run(ctx context.Context, s *redis.Script, args ...any) *redis.Cmd {
	return s.Run(ctx, q.rdb, q.keys, append([]any{group}, args...)...)
}

// noGroup tells whether the stream or its group is gone, as after a flush or a
// restart without persistence.
func noGroup(err error) bool {
	return err != nil && strings.Contains(err.Error(), "NOGROUP")
}
