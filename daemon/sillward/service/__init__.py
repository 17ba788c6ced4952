"""The service: from a forecast to the push that a grower reads.

A `Desk` serves one household. At every tick it takes these steps, each of which asks the ledger
what is due, so that none of them depends on what an earlier tick did or failed to do:

 1. `ledger_upkeep`   goes back to the ledger's file, if the ledger had to go on in memory.
 2. `outbox`          sends the notices that wait. What each of them says at this moment is found
                      by `notice_wording`, and for the week's mail by `weekly_mail`.
 3. The forecasts that are due are asked for (`sillward.forecast.updater`).
 4. `due_rounds`      says which rounds are due; `round_teller` works out the sheet of each
                      (`context`, `plant_states`), words it and enqueues its notices.
 5. `alarm_monitor`   enqueues what cannot wait for a round: no forecast, a wrong clock, a ledger in
                      trouble.
 6. `corrections`     enqueues what a newer forecast changes about a round that has been told.
 7. `reminders`       enqueues what nobody has confirmed while its deadline comes near.
 8. `outbox`          sends what the steps before have enqueued.
 9. `ledger_upkeep`   leaves a sign of life, prunes old rows, copies the ledger once a day.

`defects` keeps an unexpected error in one step from holding up the others.

Around the desk: `daemon` runs the tick and watches that it gets on (`run_control`, `systemd`);
`health` and `heartbeat` tell those who look from outside; `last_word` tells the channels that the
service has stopped; `chore_selection` reads what a grower confirms with `sillward done`.
"""
