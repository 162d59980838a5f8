-- What counts in trends, said once. The yearly table, Seasons, the fits, the live records and the
-- publications all read these views; none of them looks at counts_in_trends itself.
--
-- Columns that a query does not name cost it nothing, and conditions on program_id, route_id,
-- season_year and the like reach the tables below. A migration that alters a column named here
-- has to drop the views first and make them again.

-- One row a visit that counts: accepted, and not left out as a whole by a coordinator. Of the rain,
-- either the amount is known or it was a trace; rain_trace is null where neither was written down.
CREATE VIEW counted_visit AS
SELECT v.id,
       r.program_id,
       v.route_id,
       r.code AS route_code,
       r.region,
       v.protocol_version_id,
       v.observer_id,
       v.night,
       v.season_year,
       v."window",
       v.start_air_temperature_c,
       v.start_beaufort,
       nullif(v.start_sky, '') AS start_sky,
       v.end_air_temperature_c,
       v.end_beaufort,
       nullif(v.end_sky, '') AS end_sky,
       v.rain_48h_mm,
       CASE WHEN v.rain_48h_is_trace OR v.rain_48h_mm IS NOT NULL
            THEN v.rain_48h_is_trace END AS rain_trace,
       v.own_fields,
       v.revision,
       v.changed_at
FROM surveys_visit v
JOIN surveys_route r ON r.id = v.route_id
WHERE v.counts_in_trends;

-- One row a listening period that counts: at a stop that was listened to, on a visit that counts,
-- and not left out by a coordinator. Temperature and wind fall back on the head of the visit's
-- sheet where the stop has none of its own. changed_at is that of the visit.
CREATE VIEW counted_period AS
SELECT p.id,
       p.visit_id,
       p.stop_id,
       v.program_id,
       v.route_id,
       v.route_code,
       v.region,
       v.protocol_version_id,
       v.night,
       v.season_year,
       p.started_at,
       p.finished_at,
       p.paused_s,
       coalesce(p.air_temperature_c, v.start_air_temperature_c) AS air_temperature_c,
       p.water_temperature_c,
       coalesce(p.beaufort, v.start_beaufort) AS beaufort,
       nullif(p.sky, '') AS sky,
       nullif(p.noise, '') AS noise,
       p.water_tonight,
       p.own_fields,
       v.rain_48h_mm,
       v.rain_trace,
       v.changed_at
FROM counted_visit v
JOIN surveys_listeningperiod p ON p.visit_id = v.id
WHERE p.counts_in_trends;

-- Calls but those that were heard only beyond the listening radius of the protocol: they say
-- nothing of what is within it, so a species is as if nothing had been written down for it, silent
-- where it was listed. One that a coordinator left out stays: it makes its species missing.
CREATE VIEW call_within AS
SELECT id, period_id, species_id, "index", counts_in_trends
FROM surveys_callindex
WHERE NOT (distance = 'far' AND (counts_in_trends OR not_sure));

-- Stops of visits of which at least two people heard a recording without seeing the sheet, and are
-- done with it. So what was written down there is checked, all of it, whatever they named.
CREATE VIEW heard_again AS
SELECT r.visit_id, r.stop_id
FROM surveys_blindlistening l
JOIN surveys_recording r ON r.id = l.recording_id
WHERE l.finished_at IS NOT NULL
  AND (SELECT count(*) FROM surveys_blindanswer a
       WHERE a.listening_id = l.recording_id AND a.is_usable) >= 2;

-- One row a call that was written down at a counted period. call_index is 1 to 3, or null where
-- the row makes its species missing there, not absent: it was heard but not known for sure, or a
-- coordinator left it out. A species off the checklist of the night is here too; listed tells.
-- confirmed_by_id and confirmed_at are null unless the call was confirmed by ear, from a recording.
-- checked: people who did not see the sheet heard a recording of the stop, and either agreed on the
-- species or are done.
CREATE VIEW counted_written AS
SELECT c.id,
       c.period_id,
       c.species_id,
       e.id IS NOT NULL AS listed,
       CASE WHEN c.counts_in_trends THEN c."index" END AS call_index,
       CASE WHEN c.counts_in_trends THEN f.by_id END AS confirmed_by_id,
       CASE WHEN c.counts_in_trends THEN f.at END AS confirmed_at,
       p.visit_id,
       p.stop_id,
       p.program_id,
       p.route_id,
       p.night,
       p.season_year,
       -- No join: with one more, the planner would no longer try all orders.
       CASE WHEN c.counts_in_trends THEN coalesce(f.without_sheet, false) OR EXISTS (
           SELECT FROM heard_again h WHERE h.visit_id = p.visit_id AND h.stop_id = p.stop_id
       ) END AS checked
FROM counted_period p
JOIN call_within c ON c.period_id = p.id
LEFT JOIN surveys_confirmation f ON f.call_id = c.id
LEFT JOIN surveys_checklistentry e
  ON e.program_id = p.program_id
 AND e.species_id = c.species_id
 AND (e.listed_from IS NULL OR e.listed_from <= p.night)
 AND (e.listed_until IS NULL OR p.night <= e.listed_until);

-- What a record says of species: of its own, and where a joint entry and its members are concerned,
-- of them. A record of a member is one of its joint entry. A record of a joint entry leaves open
-- which of its members called, so it can make them missing, never heard.
CREATE VIEW record_speaks_of AS
SELECT id AS recorded_id, id AS species_id, true AS as_heard FROM surveys_species
UNION ALL
SELECT member_id, joint_id, true FROM surveys_jointmember
UNION ALL
SELECT joint_id, member_id, false FROM surveys_jointmember;

-- One row a counted period and species of which a record speaks there. call_index is the highest
-- of these records, or null: missing. So a joint entry is heard wherever it or a member was, and a
-- member is missing where a joint entry of it was written down and itself was not. Confirmed by
-- ear, or checked, is only what was written down as the very species.
CREATE VIEW counted_record AS
SELECT w.period_id,
       x.species_id,
       max(CASE WHEN x.as_heard THEN w.call_index END) AS call_index,
       max(w.confirmed_by_id) FILTER (WHERE x.recorded_id = x.species_id) AS confirmed_by_id,
       max(w.confirmed_at) FILTER (WHERE x.recorded_id = x.species_id) AS confirmed_at,
       w.visit_id,
       w.stop_id,
       w.program_id,
       w.route_id,
       w.night,
       w.season_year,
       coalesce(bool_or(w.checked) FILTER (WHERE x.recorded_id = x.species_id), false) AS checked
FROM counted_written w
JOIN record_speaks_of x ON x.recorded_id = w.species_id
GROUP BY w.period_id, x.species_id, w.visit_id, w.stop_id, w.program_id, w.route_id, w.night,
         w.season_year;

-- One row a counted period and species of the catalog, to be asked for one species or for those
-- on the list. listed: the species was on the program's checklist that night. call_index is
-- 1 to 3 where it was heard; 0 where it was listed and no call says anything of it; else null:
-- missing, or not listened for. recorded_index is that of the call that was written down for the
-- very species, null where there is none or it does not count; far_index that of one that was
-- heard only beyond the listening radius. This says once more what counted_record says, in a form
-- that the planner can look up period by period.
CREATE VIEW counted_period_species AS
SELECT p.id AS period_id,
       s.id AS species_id,
       s.code AS species_code,
       s.scientific_name,
       e.id IS NOT NULL AS listed,
       CASE
           -- A joint entry, by its own record and those of its members. Below 0 is missing.
           WHEN s.id IN (SELECT joint_id FROM surveys_jointmember) THEN nullif(coalesce((
               SELECT max(CASE WHEN r.counts_in_trends THEN r."index" ELSE -1 END)
               FROM call_within r
               WHERE r.period_id = p.id
                 AND (r.species_id = s.id OR (s.id, r.species_id) IN (
                     SELECT joint_id, member_id FROM surveys_jointmember))
           ), CASE WHEN e.id IS NOT NULL THEN 0 END), -1)
           WHEN c.id IS NOT NULL THEN CASE WHEN c.counts_in_trends THEN c."index" END
           -- A member without a record of its own.
           WHEN s.id IN (SELECT member_id FROM surveys_jointmember) AND EXISTS (
               SELECT FROM surveys_jointmember m
               JOIN call_within r ON r.species_id = m.joint_id
               WHERE m.member_id = s.id AND r.period_id = p.id
           ) THEN NULL
           WHEN e.id IS NOT NULL THEN 0
       END AS call_index,
       CASE WHEN c.counts_in_trends THEN f.by_id END AS confirmed_by_id,
       CASE WHEN c.counts_in_trends THEN f.at END AS confirmed_at,
       CASE WHEN c.counts_in_trends THEN c."index" END AS recorded_index,
       (SELECT r."index" FROM surveys_callindex r
        WHERE r.period_id = p.id AND r.species_id = s.id AND r.distance = 'far'
          AND r.counts_in_trends) AS far_index,
       p.visit_id,
       p.stop_id,
       p.program_id,
       p.route_id,
       p.route_code,
       p.region,
       p.night,
       p.season_year,
       p.started_at,
       p.changed_at,
       -- No join: with one more, the planner would no longer try all orders.
       CASE WHEN c.counts_in_trends THEN coalesce(f.without_sheet, false) OR EXISTS (
           SELECT FROM heard_again h WHERE h.visit_id = p.visit_id AND h.stop_id = p.stop_id
       ) END AS checked
FROM counted_period p
CROSS JOIN surveys_species s
LEFT JOIN surveys_checklistentry e
  ON e.program_id = p.program_id
 AND e.species_id = s.id
 AND (e.listed_from IS NULL OR e.listed_from <= p.night)
 AND (e.listed_until IS NULL OR p.night <= e.listed_until)
LEFT JOIN call_within c ON c.period_id = p.id AND c.species_id = s.id
LEFT JOIN surveys_confirmation f ON f.call_id = c.id;

-- One row a counted period and species on the checklist that night: heard, silent or missing.
CREATE VIEW counted_call AS
SELECT period_id, species_id, species_code, scientific_name, call_index, recorded_index,
       far_index, confirmed_by_id, confirmed_at, visit_id, stop_id, program_id, route_id,
       route_code, region, night, season_year, started_at, changed_at, checked
FROM counted_period_species
WHERE listed;
