"""The service: from a forecast to the push that a grower reads.

A `Desk` serves one household. At every tick it takes these steps, each of which asks the ledger
what is due, so that none of them depends on what an earlier tick did or failed to do:

 1. The clock is checked. If it has not been set, its alarm is enqueued and sent, and the tick ends.
 2. `ledger_upkeep`   goes back to the ledger's file, if the ledger had to go on in memory.
 3. The ledger forgets the rounds that were told by a clock far ahead.
 4. `outbox`          gives up the notices that are too late, hands over those of a channel that was
                      removed, and sends those that wait. What each of them says at this moment is
                      found by `notice_wording`, and for the week's mail by `weekly_mail`;
                      `answer_links` gives it the links by which it can be answered.
 5. The forecasts that are due are asked for (`sillward.forecast.updater`).
 6. `sensor_readings` writes what the sensors have sent since the last tick, and how their broker is
                      reached; `sensor_status` says how they are. `reading_review` sets aside once
                      an hour what is seen to be wrong only by the hour.
 7. `absences`        tells those who look after the plants for some days that they do, with a list
                      for a stranger, and that it is over.
 8. `due_rounds`      says which rounds are due; `round_teller` works out the sheet of each
                      (`context`, `plant_states`), words it and enqueues its notices.
 9. `alarm_monitor`   enqueues what cannot wait for a round: no forecast, a wrong clock, a ledger in
                      trouble, a helper who cannot be told.
10. `corrections`     enqueues what a newer forecast changes about a round that has been told
                      (`round_in_force`, `sillward_rules.told_orders`).
11. `reminders`       enqueues orders that have not been confirmed while their deadline comes near.
12. `outbox`          sends what the steps before have enqueued.
13. `ledger_upkeep`   leaves a sign of life, prunes old rows, copies the ledger once a day.

`defects` keeps an unexpected error in one step from holding up the others. If the ledger fails, the
tick ends; if it fails again at the next tick, the tick is done again in memory.

Around the desk: `daemon` runs the tick and restarts what hangs (`run_control`, `systemd`); `health`
and `heartbeat` report troubles to the outside; `stopped_notice` tells the channels that the service
has stopped; `chore_selection` and `answers` are behind `sillward done`, `weekly_mail_file`
behind `sillward digest`.
"""
