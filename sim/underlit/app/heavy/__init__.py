"""Heavy work of the app: its queue, and each piece of it as a function of a job. What a piece returns is plain and small."""
