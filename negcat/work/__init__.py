"""One file a job: each joins the rooms of computing, records, scans and catalogue into what a user asks for."""
